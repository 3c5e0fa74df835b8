"""The packet, checked with qpdf, pikepdf and poppler.

    MERESTONE=target/release/merestone python tests/outside/check_packet.py --examples examples --folder /tmp
    ... --pictures FOLDER     # besides, every picture of a folder; --only NAME for one

qpdf finds nothing to say of the file. pikepdf reads its bookmarks: each leads to the first page of the sheet that the report
names, in the order of use. poppler reads each page: its size is that of the paper or the printer's page, and its text that of the
sheet. Squares have the same names around underdrawing, plan and squared reference, and every square of the order is one of them;
numbers of the order are numbers of the plan for the same area. The exit code is 1 when anything is off.
"""

import argparse
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pikepdf
from check_promises import inputs

USE = ["underdrawing", "plan", "key", "structure", "squared", "enlarged", "order"]
# What a page of each sheet says of itself; a tiled sheet says it on one of its pages.
SAYS = {"underdrawing": "100 mm", "plan": "value plan", "key": "Key to the value plan", "structure": "Value structure",
        "squared": "squared reference", "enlarged": "Squares with most lines", "order": "Working order"}
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
A4, SIZE_PT = (595.276, 841.89), 0.02
VARIANTS = [["--paper", "a4"], ["--paper", "a3", "--print-on", "a4", "--halves"], ["--paper", "a4", "--hand", "left", "--sheets", "plan,order"]]


def text_of(pdf, first, last):
    call = ["pdftotext", "-f", str(first), "-l", str(last), "-layout", pdf, "-"]
    return subprocess.run(call, capture_output=True, text=True, check=True).stdout


def outline(document):
    places = {page.objgen: k + 1 for k, page in enumerate(document.pages)}
    with document.open_outline() as opened:
        return [(str(item.title), places[item.destination[0].objgen]) for item in opened.root]


def check(pdf, report, variant):
    faults, parts = [], report["packet"]["sheets"]
    done = subprocess.run(["qpdf", "--check", pdf], capture_output=True, text=True)
    if done.returncode or "WARNING" in done.stdout + done.stderr:
        faults.append(f"qpdf: {(done.stderr or done.stdout).splitlines()[0]}")
    with pikepdf.open(pdf) as document:
        pages = len(document.pages)
        if outline(document) != [(part["title"], part["from"]) for part in parts]:
            faults.append("bookmarks are not those of the report")
        for k, page in enumerate(document.pages):
            box = [float(x) for x in page.mediabox]
            # A wide picture turns its sheet on its side.
            if any(abs(got - want) > SIZE_PT for got, want in zip((*box[:2], *sorted(box[2:])), (0, 0, *A4))):
                faults.append(f"page {k + 1} is {box}")
    order = [USE.index(part["sheet"]) for part in parts]
    ends = [0, *(part["to"] for part in parts)]
    if order != sorted(set(order)) or [p["from"] for p in parts] != [e + 1 for e in ends[:-1]] or ends[-1] != pages:
        faults.append(f"pages do not follow each other: {parts}")
    texts = {part["sheet"]: text_of(pdf, part["from"], part["to"]) for part in parts}
    for part in parts:
        for page in range(part["from"], part["to"] + 1):
            if len(text_of(pdf, page, page).split()) < 3:
                faults.append(f"page {page} of {part['sheet']} has no words")
        if SAYS[part["sheet"]].lower() not in " ".join(texts[part["sheet"]].lower().split()):
            faults.append(f"{part['sheet']} does not say what it is")
        for other in set(SAYS) - {part["sheet"], "underdrawing"}:
            if other == "plan" and part["sheet"] in ("key", "order"):
                continue
            if SAYS[other].lower() in texts[part["sheet"]].lower():
                faults.append(f"{part['sheet']} calls itself {SAYS[other]}")
    squares = report["print"]["squares"]
    names = {f"{LETTERS[c]}{r + 1}" for c in range(squares["columns"]) for r in range(squares["rows"])}
    for sheet in {"underdrawing", "plan", "squared"} & set(texts):
        words = set(texts[sheet].split())
        missing = [w for w in LETTERS[: squares["columns"]] if w not in words]
        missing += [str(r + 1) for r in range(squares["rows"]) if str(r + 1) not in words]
        if missing and "--print-on" not in variant:
            faults.append(f"{sheet} lacks names of squares: {missing}")
    if "order" in texts:
        listed = {s["name"] for s in report["order"]["squares"]}
        if listed | set(report["order"]["bare"]) != names:
            faults.append("the order has other squares than the sheet")
        printed = set(re.findall(r"^ *\d+ +([A-Z]\d+)\b", texts["order"], re.M))
        if not listed <= set(texts["order"].split()) or not printed:
            faults.append(f"squares are not printed: {sorted(listed - set(texts['order'].split()))[:5]}")
    if "order" in texts and "plan" in texts:
        of_plan = {a: label["text"] for label in report["plan"]["labels"] for a in label["areas"]}
        for square in report["order"]["squares"]:
            for area in square["areas"]:
                if of_plan.get(area["area"], area["text"]) != area["text"]:
                    faults.append(f"area {area['area']} is {of_plan[area['area']]} on the plan and {area['text']} in {square['name']}")
        if not of_plan:
            faults.append("the plan has no numbers")
    return faults, pages


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", default="examples")
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--only")
    args = parser.parse_args()
    folder = args.folder / "packet"
    folder.mkdir(parents=True, exist_ok=True)
    pictures = list(inputs(args.examples, folder))
    if args.pictures:
        pictures += [(p.stem, p, []) for p in sorted(args.pictures.iterdir()) if p.suffix in (".jpg", ".png")]
    wrong = looked_at = 0
    for name, picture, more in (p for p in pictures if args.only in (None, p[0])):
        for k, variant in enumerate(VARIANTS):
            pdf, told = f"{folder}/{name}-{k}.pdf", f"{folder}/{name}-{k}.json"
            command = [os.environ["MERESTONE"], "packet", str(picture), "--quiet", "--overwrite", *more, *variant]
            done = subprocess.run([*command, "-o", pdf, "--report", told], capture_output=True, text=True, timeout=600)
            if done.returncode != 0:
                raise SystemExit(f"{' '.join(command)}\nexit code {done.returncode}: {done.stderr}")
            faults, pages = check(pdf, json.loads(Path(told).read_text()), variant)
            wrong, looked_at = wrong + bool(faults), looked_at + pages
            print(f"{name:22} {k} {pages:3} pages")
            for fault in faults[:20]:
                print(f"  FAULT {fault}")
    sys.exit(1 if wrong or looked_at < 2 else 0)


if __name__ == "__main__":
    main()
