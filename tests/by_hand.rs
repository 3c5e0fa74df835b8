//! What a study file lists by hand, through the program: edits, groups, pairs alike, guides, lines left out.
//!
//! The picture is a disc, a bar and a ground of one tone each, 60 x 80 mm on the sheet: what its figures are follows from
//! the tones of its pixels and the sizes of the shapes.

use serde_json::Value;

use crate::program::{Desk, Outcome};

const SHEET: [&str; 4] = ["--paper", "70x90mm", "--margin", "5mm"];
/// Values 1, 3 and 5 by breaks that are far from the tones.
const TONES: &str =
    "[tones]\nbreaks = [80, 60, 40, 20]\ntone-range = [0, 100]\npitch = \"none\"\nkind = \"tonal\"\n";

/// A desk with a study file of the scene and more in it.
fn desk(more: &str) -> Desk {
    let desk = Desk::with_picture();
    let text = format!("format = 1\n[reference]\nfile = \"picture.png\"\n{TONES}{more}");
    desk.put("study.toml", text.as_bytes());
    desk
}

fn draw(desk: &Desk, more: &[&str]) -> Outcome {
    let files =
        ["-o", "a.svg", "--report", "a.json", "--net", "n.json", "--value-map", "v.png", "--overwrite"];
    let args = [&["draw", "study.toml"][..], &SHEET, &files, more].concat();
    let outcome = desk.run(&args);
    assert_eq!(outcome.code, 0, "{more:?}: {}", outcome.err);
    outcome
}

fn json(desk: &Desk, name: &str) -> Value {
    serde_json::from_slice(&desk.get(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Palette indices of the value map, with its width.
fn value_map(desk: &Desk) -> (Vec<u8>, usize) {
    let mut reader = png::Decoder::new(std::io::Cursor::new(desk.get("v.png"))).read_info().expect("a PNG");
    let mut bytes = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut bytes).expect("a picture");
    assert_eq!(info.bit_depth, png::BitDepth::Eight, "an index a pixel");
    (bytes, info.width as usize)
}

/// The value at a place in mm on the picture.
fn value_at(desk: &Desk, x: f64, y: f64) -> u8 {
    let (bytes, width) = value_map(desk);
    let px = width as f64 / 60.0;
    bytes[(y * px) as usize * width + (x * px) as usize]
}

/// Path data of one group of the SVG.
fn paths(desk: &Desk, group: &str) -> Vec<String> {
    let text = String::from_utf8(desk.get("a.svg")).expect("UTF-8");
    let document = roxmltree::Document::parse(&text).expect("XML");
    let found = document.descendants().find(|n| n.attribute("id") == Some(group));
    let paths = found.into_iter().flat_map(|g| g.descendants()).filter_map(|n| n.attribute("d"));
    paths.map(str::to_owned).collect()
}

/// The bounding box of path data, x0 y0 x1 y1.
fn bounds(data: &str) -> [f64; 4] {
    let path = kurbo::BezPath::from_svg(data).expect("path data");
    let b = kurbo::Shape::bounding_box(&path);
    [b.x0, b.y0, b.x1, b.y1]
}

#[test]
fn an_edit_changes_the_value_of_one_area_and_no_line_elsewhere() {
    let before = desk("");
    draw(&before, &[]);
    let after = desk("[[edit]]\nat = [\"27mm\", \"30mm\"]\nvalue = 2\n");
    draw(&after, &[]);
    for (x, y, plain, edited) in [(27.0, 30.0, 5, 2), (3.0, 3.0, 1, 1), (40.0, 60.0, 3, 3)] {
        assert_eq!((value_at(&before, x, y), value_at(&after, x, y)), (plain, edited), "at {x}, {y}");
    }
    let both = |group: &str| (paths(&before, group), paths(&after, group));
    let (old, new) = both("boundary");
    assert_eq!(old, new, "the lines are where the tone has them");
    for plainness in ["0", "80", "100"] {
        draw(&after, &["--plainness", plainness]);
        assert_eq!(value_at(&after, 27.0, 30.0), 2, "at plainness {plainness}");
    }
    assert_eq!(json(&after, "a.json")["edits"]["count"], 1);
    let edge = |net: &Value| {
        net["transitions"].as_array().expect("a list").iter().filter(|t| t["height"].is_null()).count()
    };
    assert!(edge(&json(&after, "n.json")) > 0, "borders that never die");
}

#[test]
fn merged_areas_lose_the_line_between_them() {
    let desk = desk("[[edit]]\nat = [\"27mm\", \"30mm\"]\nmerge-with = [\"40mm\", \"60mm\"]\nvalue = 4\n");
    draw(&desk, &[]);
    assert_eq!((value_at(&desk, 27.0, 30.0), value_at(&desk, 40.0, 60.0)), (4, 4));
    let report = json(&desk, "a.json");
    assert_eq!(
        (&report["areas"]["count"], &report["transitions"]["count"]),
        (&2.into(), &1.into()),
        "{report}"
    );
}

#[test]
fn a_split_lies_on_the_artists_line() {
    let desk = desk(
        "[[edit]]\nat = [\"20mm\", \"30mm\"]\nsplit-along = [[\"27mm\", \"5mm\"], [\"30mm\", \"32mm\"], [\"27mm\", \"70mm\"]]\nvalue = 4\n",
    );
    draw(&desk, &[]);
    assert_eq!((value_at(&desk, 20.0, 30.0), value_at(&desk, 36.0, 32.0)), (4, 5));
    let net = json(&desk, "n.json");
    let split = net["transitions"].as_array().expect("a list").iter().find(|t| {
        let values = [&t["values"][0], &t["values"][1]].map(|v| v.as_u64().unwrap_or(0));
        values.contains(&4) && values.contains(&5)
    });
    let split = split.expect("a border along the line");
    let points: Vec<[f64; 2]> = serde_json::from_value(split["cubics"].clone()).expect("points");
    let wanted = [(32.0, 10.0), (35.0, 37.0), (32.0, 75.0)].map(kurbo::Point::from);
    for c in points.windows(4).step_by(3) {
        let [a, b, c, d] = [0, 1, 2, 3].map(|k| kurbo::Point::new(c[k][0], c[k][1]));
        let cubic = kurbo::CubicBez::new(a, b, c, d);
        for t in 0..=10 {
            let p = kurbo::ParamCurve::eval(&cubic, f64::from(t) / 10.0);
            let far = wanted.windows(2).map(|w| {
                let line = kurbo::Line::new(w[0], w[1]);
                kurbo::ParamCurveNearest::nearest(&line, p, 1e-6).distance_sq.sqrt()
            });
            // The fit's tolerance, and half a pixel where the line is carried straight on, within 2.6 pixels of the disc's
            // edge.
            assert!(far.fold(f64::INFINITY, f64::min) < 0.19, "{p} is off the line");
        }
    }
    let widths: Vec<f64> = serde_json::from_value(split["width_mm"].clone()).expect("widths");
    assert!(widths.iter().all(|w| *w == 0.0), "as sharp as it was drawn");
}

#[test]
fn groups_and_pairs_have_the_figures_of_their_tones() {
    // sRGB 40, 130 and 235 in linear light (IEC 61966-2-1).
    let light = |n: f64| ((n / 255.0 + 0.055) / 1.055_f64).powf(2.4);
    let [disc, bar, ground] = [40.0, 130.0, 235.0].map(light);
    let lightness = |y: f64| 116.0 * y.cbrt() - 16.0;
    let desk = desk(
        "[[group]]\nname = \"disc\"\nzone = \"ellipse:27.5mm,32.5mm,10mm,10mm\"\nvalue = 5\n\
         [[group]]\nname = \"half\"\nzone = \"rect:30mm,45mm,20mm,0.5in\"\nvalue = [1, 2]\n\
         [[group]]\nname = \"all\"\nzone = \"rect:0%,0%,100%,100%\"\nvalue = [1, 5]\n\
         [[keep-alike]]\ngroups = [\"disc\", \"half\"]\n\
         [[keep-alike]]\npoints = [[\"50%\", \"5%\"], [\"5%\", \"95%\"]]\n\
         [[keep-alike]]\npoints = [[\"27mm\", \"30mm\"], [\"40mm\", \"60mm\"]]\n",
    );
    let said = draw(&desk, &[]).err;
    let report = json(&desk, "a.json");
    let number = |v: &Value| v.as_f64().unwrap_or(f64::NAN);
    let group = |k: usize| report["groups"][k].clone();
    // 240 x 320 pixels of 0.25 mm: the bar is rows 181 to 259 from column 61 on, the disc 70 pixels round (110, 130).
    let within = |x: i64, y: i64| (x - 110).pow(2) + (y - 130).pow(2) < 70 * 70;
    let half: Vec<f64> = (180..=230)
        .flat_map(|y| (120..200).map(move |x| (x, y)))
        .filter(|&(_, y)| f64::from(y as i32) * 0.25 + 0.125 < 45.0 + 12.7)
        .map(|(x, y)| {
            if within(x, y) {
                disc
            } else if y > 180 {
                bar
            } else {
                ground
            }
        })
        .collect();
    let half = half.iter().sum::<f64>() / half.len() as f64;
    for (k, share, reflectance, value, as_wanted) in
        [(0, std::f64::consts::PI * 100.0 / 4800.0, disc, 5, true), (1, 20.0 * 12.7 / 4800.0, half, 3, false)]
    {
        let group = group(k);
        assert!((number(&group["share"]) - share).abs() < 0.001, "{group}");
        assert!((number(&group["reflectance"]) - reflectance).abs() < 0.004, "{group} for {reflectance}");
        assert!((number(&group["lightness"]) - lightness(reflectance)).abs() < 0.5, "{group}");
        assert_eq!((&group["value"], &group["as_wanted"]), (&value.into(), &as_wanted.into()), "{group}");
    }
    let shares: f64 = (0..3).map(|k| number(&group(k)["share"])).sum();
    assert!((shares - 1.0).abs() < 1e-5, "every pixel is in one group: {shares}");
    assert!(
        said.contains("The group \"half\" reads as value 3") && !said.contains("The group \"disc\""),
        "{said}"
    );
    let pair = |k: usize| report["keep_alike"][k].clone();
    let place = |l: f64| (100.0 - l) / 20.0;
    let (dark, middle) = (lightness(disc), lightness(bar));
    assert!((number(&pair(2)["apart_lightness"]) - (middle - dark)).abs() < 0.7, "{}", pair(2));
    assert!((number(&pair(2)["apart_values"]) - (place(dark) - place(middle))).abs() < 0.04, "{}", pair(2));
    assert_eq!(
        (&pair(1)["apart_values"], &pair(1)["told_apart"]),
        (&0.0.into(), &false.into()),
        "one ground"
    );
    assert_eq!((&pair(0)["told_apart"], &pair(2)["told_apart"]), (&true.into(), &true.into()));
    assert_eq!(said.matches("are to read as one tone").count(), 2, "{said}");
}

const GUIDES: &str =
    "[[guide]]\npoints = [[\"0%\", \"10mm\"], [\"120%\", \"10mm\"]]\n[[guide]]\nfile = \"lines.svg\"\n";

fn with_guides(more: &str) -> Desk {
    let desk = desk(&format!("{GUIDES}{more}"));
    let lines = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"300\" height=\"400\"><circle cx=\"150\" cy=\"350\" r=\"20\" \
                 fill=\"red\" stroke=\"blue\" stroke-width=\"9\"/><rect width=\"9\" height=\"9\"/></svg>";
    desk.put("lines.svg", lines.as_bytes());
    desk
}

#[test]
fn guides_are_drawn_on_every_sheet_and_cut_at_the_pictures_edge() {
    let desk = with_guides("");
    draw(&desk, &["-o", "a.pdf", "-o", "a.png", "--plotter", "p.svg"]);
    let mut lines = paths(&desk, "guides");
    // In the order of short travel; the straight one is the wider.
    lines.sort_by(|a, b| (bounds(b)[2] - bounds(b)[0]).total_cmp(&(bounds(a)[2] - bounds(a)[0])));
    let [x0, y0, x1, y1] = bounds(&lines[0]);
    assert_eq!(lines.len(), 2, "a line and a circle; the filled square has no stroke");
    // The picture is 60 mm wide from 5 mm on; 300 units of the SVG are its width.
    let near = |a: f64, b: f64| (a - b).abs() < 0.002;
    assert!(near(x0, 5.0) && near(x1, 65.0) && near(y0, 15.0) && near(y1, 15.0), "{:?}", bounds(&lines[0]));
    let ring = bounds(&lines[1]);
    assert!(ring.iter().zip([31.0, 71.0, 39.0, 79.0]).all(|(a, b)| (a - b).abs() < 0.01), "{ring:?}");
    let report = json(&desk, "a.json");
    let length = report["guides"]["length_mm"].as_f64().unwrap_or(0.0);
    assert_eq!(report["guides"]["count"], 2);
    assert!((length - 60.0 - std::f64::consts::PI * 8.0).abs() < 0.02, "{length} mm");
    let plotter = String::from_utf8(desk.get("p.svg")).expect("UTF-8");
    assert!(plotter.contains("id=\"guides\""), "a layer of the plotter's file");
    let pdf = lopdf::Document::load_mem(&desk.get("a.pdf")).expect("a PDF");
    let named = pdf.objects.values().filter_map(|o| o.as_dict().ok()).filter_map(|d| d.get(b"Name").ok());
    let named: Vec<&[u8]> = named.filter_map(|n| n.as_str().ok()).collect();
    assert!(named.contains(&&b"Guide lines"[..]), "a layer of the PDF");
    draw(&desk, &["--mirror"]);
    let mirrored = paths(&desk, "guides");
    let mirrored = mirrored.iter().map(|p| bounds(p)).find(|b| b[2] - b[0] < 9.0).expect("the circle");
    assert!(mirrored.iter().zip([31.0, 71.0, 39.0, 79.0]).all(|(a, b)| (a - b).abs() < 0.01), "{mirrored:?}");
    let apart = desk.run(&["draw", "study.toml", "-o", "l.svg", "--layers", "apart", "-q"]);
    assert_eq!(apart.code, 0, "{}", apart.err);
    assert!(!desk.get("l-guides.svg").is_empty(), "a file of its own");
}

#[test]
fn the_preview_shows_guides() {
    let (plain, desk) = (desk(""), with_guides(""));
    draw(&plain, &["-o", "a.png"]);
    draw(&desk, &["-o", "a.png"]);
    let dark = |desk: &Desk| {
        let picture = image::load_from_memory(&desk.get("a.png")).expect("a picture").to_luma8();
        // 10 pixels a mm: the line lies 15 mm from the top.
        (100..600).filter(|&x| picture.get_pixel(x, 150).0[0] < 200).count()
    };
    assert!(dark(&plain) == 0 && dark(&desk) > 490, "{} and {}", dark(&plain), dark(&desk));
}

#[test]
fn a_suppressed_line_is_on_no_sheet_and_its_areas_stay() {
    let plain = desk("");
    draw(&plain, &["--plotter", "p.svg"]);
    // The right end of the bar's upper edge.
    let desk = desk("[[suppress]]\nat = [\"57mm\", \"45.5mm\"]\n");
    draw(&desk, &["--plotter", "p.svg"]);
    let (before, after) = (json(&plain, "a.json"), json(&desk, "a.json"));
    let count = |report: &Value, what: &str| report[what]["count"].as_u64().unwrap_or(0);
    let length = |report: &Value, what: &str| report[what]["length_mm"].as_f64().unwrap_or(0.0);
    assert_eq!(count(&after, "suppressed"), 1);
    for what in ["transitions", "strokes"] {
        assert_eq!(count(&after, what) + 1, count(&before, what), "{what}");
        let less = length(&before, what) - length(&after, what) - length(&after, "suppressed");
        assert!(less.abs() < 0.01 && length(&after, "suppressed") > 10.0, "{what}: {less}");
    }
    assert_eq!(
        (&before["areas"], value_map(&plain)),
        (&after["areas"], value_map(&desk)),
        "areas and values stay"
    );
    let (old, new) = (paths(&plain, "boundary"), paths(&desk, "boundary"));
    let gone: Vec<&String> = old.iter().filter(|path| !new.contains(path)).collect();
    assert_eq!((gone.len(), new.len() + 1), (1, old.len()), "one line");
    let plotter = String::from_utf8(desk.get("p.svg")).expect("UTF-8");
    let net = json(&desk, "n.json");
    let own = net["transitions"].as_array().expect("a list").iter().find(|t| t["suppressed"] == true);
    let id = own.expect("the net says so")["id"].to_string();
    let drawn = |text: &str| text.matches("data-transitions=\"").count();
    assert_eq!(drawn(&plotter) + 1, drawn(&String::from_utf8(plain.get("p.svg")).expect("UTF-8")));
    assert!(!plotter.contains(&format!("data-transitions=\"{id}\"")), "not for the plotter either");
}

#[test]
fn a_line_left_out_stays_out_at_any_plainness_and_may_be_gone() {
    // The upper edge of the bar, then the disc's left side, which is nearer to where that edge would go on.
    let bar = "[[suppress]]\nat = [\"57mm\", \"45.5mm\"]\n";
    let desk = desk(bar);
    let suppressed = |more: &[&str]| {
        let outcome = draw(&desk, more);
        let report = json(&desk, "a.json");
        (report["suppressed"]["length_mm"].as_f64().unwrap_or(0.0), outcome.err)
    };
    let (own, said) = suppressed(&[]);
    assert!(own > 10.0 && !said.contains("leaves out"), "{own} mm, {said}");
    // The same line at another plainness that has it too.
    let (finer, said) = suppressed(&["--plainness", "0"]);
    assert!((finer - own).abs() < 0.02 && !said.contains("leaves out"), "{finer} mm for {own}, {said}");
    // Plainer, the bar becomes one with what is around it. A line that was never meant is drawn.
    let whole = |more: &[&str]| {
        draw(&desk, more);
        paths(&desk, "boundary").len()
    };
    let (none, said) = suppressed(&["--areas", "2"]);
    assert!(none.abs() < 1e-9, "{none} mm");
    assert!(said.contains("note: The line at 57mm, 45.5mm that the study file leaves out"), "{said}");
    assert!(whole(&["--areas", "2"]) > 0, "the disc is drawn");
}

#[test]
fn faults_name_their_line_whenever_they_are_found() {
    let line = 9;
    for (body, line, parts) in [
        ("[[edit]]\nat = [\"140%\", \"5mm\"]\nvalue = 2", line, &["140%, 5mm", "outside the picture"][..]),
        (
            "[[edit]]\nat = [\"5mm\", \"5mm\"]\nvalue = 2\n[[edit]]\nat = [\"9mm\", \"5mm\"]\nvalue = 3",
            line + 3,
            &["value 3", "value 2", "line 9"],
        ),
        ("[[edit]]\nat = [\"5mm\", \"5mm\"]\nvalue = 6", line, &["value 6", "1 to 5"]),
        (
            "[[edit]]\nat = [\"27mm\", \"30mm\"]\nvalue = 2\nsplit-along = [[\"27mm\", \"20mm\"], [\"27mm\", \"30mm\"]]",
            line,
            &["does not cut", "27mm, 30mm"],
        ),
        (
            "[[edit]]\nat = [\"5mm\", \"5mm\"]\nmerge-with = [\"9mm\", \"9mm\"]\nvalue = 2\n[[edit]]\nat = [\"27mm\", \"30mm\"]\nvalue = 2",
            0,
            &[],
        ),
        (
            "[[group]]\nname = \"a\"\nzone = \"rect:200%,0%,5%,5%\"\nvalue = 1",
            line,
            &["\"a\"", "covers nothing"],
        ),
        (
            "[[group]]\nname = \"a\"\nzone = \"rect:0%,0%,5%,5%\"\nvalue = 1\n[[group]]\nname = \"b\"\nzone = \"rect:0%,0%,5%,5%\"\nvalue = 2",
            line,
            &["\"a\"", "\"b\"", "line 13"],
        ),
        ("[[keep-alike]]\ngroups = [\"a\", \"b\"]", line, &["no group \"a\""]),
        ("[[keep-alike]]\npoints = [[\"5%\", \"5%\"], [\"500%\", \"5%\"]]", line, &["500%, 5%", "outside"]),
        ("[[suppress]]\nat = [\"5mm\", \"5mm\"]", line, &["no line within 3 mm of 5mm, 5mm", "nearest is"]),
        ("[[guide]]\npoints = [[\"-9mm\", \"5mm\"], [\"-5mm\", \"5mm\"]]", line, &["outside the picture"]),
        (
            "[focus-and-rest]\nfocus = [\"rect:0%,0%,5%,5%\"]\nrest = [\"rect:0%,0%,5%,5%\"]",
            line + 1,
            &["both in focus and at rest"],
        ),
    ] {
        let desk = desk(&format!("{body}\n"));
        let args = [&["draw", "study.toml", "-o", "a.svg"][..], &SHEET].concat();
        let before = desk.everything();
        let outcome = desk.run(&args);
        if line == 0 {
            assert_eq!(outcome.code, 0, "{body}: {}", outcome.err);
            continue;
        }
        assert_eq!(outcome.code, 2, "{body}: {}", outcome.err);
        assert!(
            outcome.err.contains(&format!("study.toml, line {line}, column ")),
            "{body}: {}",
            outcome.err
        );
        assert_eq!(outcome.err.trim_end().lines().count(), 1, "{body}: {}", outcome.err);
        for part in parts {
            assert!(outcome.err.contains(part), "{body}: {} lacks {part}", outcome.err);
        }
        assert!(desk.everything() == before, "{body}: the folder changed");
    }
}

#[test]
fn a_file_of_guides_is_read_before_work_and_never_replaced() {
    let desk = with_guides("");
    let taken = desk.run(&["draw", "study.toml", "-o", "lines.svg", "--overwrite"]);
    assert_eq!(taken.code, 2, "{}", taken.err);
    assert!(taken.err.contains("guide lines"), "{}", taken.err);
    desk.put("lines.svg", b"Dear reader");
    let bad = desk.run(&["draw", "study.toml", "-o", "a.svg"]);
    assert_eq!(bad.code, 1, "{}", bad.err);
    assert!(bad.err.contains("study.toml, line 11") && bad.err.contains("no SVG"), "{}", bad.err);
    std::fs::remove_file(desk.path("lines.svg")).expect("a file can be removed");
    let gone = desk.run(&["draw", "study.toml", "-o", "a.svg"]);
    assert_eq!(gone.code, 1, "{}", gone.err);
    assert!(gone.err.contains("lines.svg") && gone.err.contains("cannot read"), "{}", gone.err);
}

#[test]
fn options_decide_how_much_is_drawn_but_not_what_was_edited() {
    let desk = desk("[lines]\nline-budget = \"0.25m\"\n[[edit]]\nat = [\"27mm\", \"30mm\"]\nvalue = 2\n");
    draw(&desk, &[]);
    let map = value_map(&desk);
    draw(&desk, &["--plainness", "0"]);
    assert_eq!(value_at(&desk, 27.0, 30.0), 2);
    assert_eq!(value_map(&desk).0.len(), map.0.len());
    let tight = draw(&desk, &["--line-budget", "1mm"]);
    assert!(tight.err.contains("cannot be kept"), "{}", tight.err);
    assert_eq!(value_at(&desk, 27.0, 30.0), 2, "and the edit stays");
}
