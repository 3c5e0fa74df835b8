//! Output files read back by parsers that are not ours, from a hand-made net.

mod net;
pub(crate) mod schema;

use kurbo::ParamCurveArclen;
use merestone::output::{self, DrawingOptions, Report, write_file};
use merestone::sheet::{Paper, PlaceOptions, Placement, place};
use merestone::strokes::{SoftLines, StrokeOptions, StrokePlan, plan_strokes};
use merestone::transitions::BoundaryNet;
use std::collections::BTreeMap;
use std::path::Path;
use usvg::tiny_skia_path::PathSegment;

/// A 3:4 picture on upright A4: 170 x 226.667 mm at 20, 35.167.
fn on_a4() -> Placement {
    let paper = Paper::parse("a4").unwrap_or_else(|e| panic!("{e}"));
    place(&paper, [600, 800], 1.0, &PlaceOptions::default()).unwrap_or_else(|e| panic!("{e}")).value
}

fn plan_of(net: &BoundaryNet, soft: SoftLines, chain: bool) -> StrokePlan {
    plan_strokes(net, &on_a4(), &StrokeOptions { soft, chain, line_mm: 0.35 })
}

fn framed() -> DrawingOptions {
    DrawingOptions { title: "Jug & cloth <study> \"1\"".into(), frame: true, ..DrawingOptions::default() }
}

/// The four ways of drawing a net that differ in their SVG.
fn every_plan(net: &BoundaryNet) -> Vec<StrokePlan> {
    [
        (SoftLines::Solid, false),
        (SoftLines::Solid, true),
        (SoftLines::Broken, false),
        (SoftLines::Broken, true),
    ]
    .map(|(soft, chain)| plan_of(net, soft, chain))
    .into()
}

/// Lengths in mm of all paths below a group of the SVG, as usvg reads them.
fn lengths_read_back(svg: &str, group: &str) -> f64 {
    let tree = usvg::Tree::from_str(svg, &usvg::Options::default()).unwrap_or_else(|e| panic!("{e}"));
    let node = tree.node_by_id(group).unwrap_or_else(|| panic!("no group {group}"));
    let usvg::Node::Group(found) = node else { panic!("{group} is no group") };
    found.children().iter().map(length_of).sum::<f64>() * 25.4 / 96.0
}

/// Length in CSS pixels of a node's path.
fn length_of(node: &usvg::Node) -> f64 {
    let path = match node {
        usvg::Node::Path(path) => path,
        usvg::Node::Group(group) => return group.children().iter().map(length_of).sum(),
        _ => return 0.0,
    };
    let scale = f64::from(path.abs_transform().sx);
    let point = |p: usvg::tiny_skia_path::Point| kurbo::Point::new(f64::from(p.x), f64::from(p.y));
    let mut at = kurbo::Point::ZERO;
    let mut length = 0.0;
    for segment in path.data().segments() {
        match segment {
            PathSegment::MoveTo(p) => at = point(p),
            PathSegment::LineTo(p) => {
                length += at.distance(point(p));
                at = point(p);
            }
            PathSegment::CubicTo(a, b, c) => {
                length += kurbo::CubicBez::new(at, point(a), point(b), point(c)).arclen(1e-5);
                at = point(c);
            }
            PathSegment::QuadTo(..) => panic!("the drawing holds cubics only"),
            PathSegment::Close => {}
        }
    }
    length * scale
}

#[test]
fn svg_lengths_are_millimetres_to_another_reader() {
    let net = net::sample();
    for plan in every_plan(&net) {
        let svg = output::svg(&plan, &on_a4(), &DrawingOptions::default());
        for (group, hard) in [("hard", true), ("soft", false)] {
            let ours: f64 = plan
                .strokes
                .iter()
                .filter(|s| s.hard == hard)
                .flat_map(|s| &s.curve)
                .map(|c| c.arclen(1e-5))
                .sum();
            let theirs = lengths_read_back(&svg, group);
            assert!((ours - theirs).abs() < 0.01, "{group}: {ours} mm written, {theirs} mm read");
        }
        let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap_or_else(|e| panic!("{e}"));
        // CSS: 96 px to the inch.
        let size = [tree.size().width(), tree.size().height()].map(|px| f64::from(px) * 25.4 / 96.0);
        assert!((size[0] - 210.0).abs() < 1e-3 && (size[1] - 297.0).abs() < 1e-3, "A4, not {size:?}");
    }
}

#[test]
fn svg_keeps_its_contract() {
    let net = net::sample();
    for plan in every_plan(&net) {
        let text = output::svg(&plan, &on_a4(), &framed());
        let document = roxmltree::Document::parse(&text).unwrap_or_else(|e| panic!("not XML: {e}"));
        let root = document.root_element();
        assert_eq!(root.tag_name().namespace(), Some("http://www.w3.org/2000/svg"), "an SVG");
        assert_eq!(root.attribute("width"), Some("210mm"), "width in mm");
        assert_eq!(root.attribute("height"), Some("297mm"), "height in mm");
        assert_eq!(root.attribute("viewBox"), Some("0 0 210 297"), "one unit is one mm");
        let title = root.children().find(|n| n.has_tag_name("title")).and_then(|n| n.text());
        assert_eq!(title, Some("Jug & cloth <study> \"1\""), "the title survives its special letters");
        let known = ["svg", "g", "path", "rect", "title"];
        for node in document.descendants().filter(roxmltree::Node::is_element) {
            assert!(known.contains(&node.tag_name().name()), "plain SVG 1.1 only, found {node:?}");
            assert!(node.attributes().all(|a| a.namespace().is_none()), "no private namespaces");
        }
        let ids: Vec<&str> = document.descendants().filter_map(|n| n.attribute("id")).collect();
        assert_eq!(ids, ["boundary", "hard", "soft", "frame"], "the groups, in order");
        check_paths(&document, &net, &plan);
    }
    let plain = output::svg(&plan_of(&net, SoftLines::Solid, false), &on_a4(), &DrawingOptions::default());
    assert!(!plain.contains("frame") && !plain.contains("<title"), "nothing that holds nothing");
}

/// Every path lies in its layer and says what it draws; unchained, each transition is one path.
fn check_paths(document: &roxmltree::Document<'_>, net: &BoundaryNet, plan: &StrokePlan) {
    let chained = plan.strokes.iter().any(|s| s.transitions.len() > 1);
    let mut drawn = Vec::new();
    for path in document.descendants().filter(|n| n.has_tag_name("path")) {
        let layer = path.parent_element().and_then(|g| g.attribute("id")).unwrap_or_default();
        let numbers = |name: &str| -> Vec<f64> {
            let text = path.attribute(name).unwrap_or_else(|| panic!("a path without {name}"));
            text.split(' ').map(|n| n.parse().unwrap_or_else(|e| panic!("{name}={text}: {e}"))).collect()
        };
        let ids: Vec<usize> = numbers("data-transitions").into_iter().map(|n| n as usize).collect();
        let first = &net.transitions[ids[0]];
        assert_eq!(layer, if first.hard { "hard" } else { "soft" }, "transition {} in its layer", ids[0]);
        let mut values = numbers("data-values");
        values.sort_by(f64::total_cmp);
        let mut expected = first.values.map(f64::from);
        expected.sort_by(f64::total_cmp);
        assert_eq!(values, expected, "values of transition {}", ids[0]);
        if ids.len() == 1 {
            assert!(
                (numbers("data-edge-mm")[0] - first.edge_mm).abs() < 1e-9,
                "edge of transition {}",
                ids[0]
            );
        }
        drawn.extend(ids);
    }
    if !chained {
        drawn.sort_unstable();
        assert_eq!(drawn, (0..net.transitions.len()).collect::<Vec<_>>(), "one path per transition");
    }
}

#[test]
fn titles_with_any_letters_stay_well_formed() {
    let plan = StrokePlan::default();
    for title in ["\u{0}\u{1}a\u{1b}", "]]> -- &amp; <!--", "Büste — 静物", "\n", "\u{FFFF}"] {
        let options = DrawingOptions { title: title.into(), ..DrawingOptions::default() };
        let svg = output::svg(&plan, &on_a4(), &options);
        assert!(roxmltree::Document::parse(&svg).is_ok(), "{title:?} broke the XML");
        let pdf = output::pdf(&plan, &on_a4(), &options);
        let document =
            lopdf::Document::load_mem(&pdf).unwrap_or_else(|e| panic!("{title:?} broke the PDF: {e}"));
        let xmp = document.catalog().and_then(|c| c.get(b"Metadata")).and_then(|m| document.dereference(m));
        let xmp =
            xmp.and_then(|(_, stream)| stream.as_stream()).unwrap_or_else(|e| panic!("no metadata: {e}"));
        let xmp = String::from_utf8_lossy(&xmp.content).into_owned();
        assert!(roxmltree::Document::parse(&xmp).is_ok(), "{title:?} broke the metadata: {xmp}");
    }
}

/// The numbers of a PDF array.
fn reals(object: &lopdf::Object) -> Vec<f64> {
    let array = object.as_array().unwrap_or_else(|e| panic!("{e}"));
    array.iter().map(|n| f64::from(n.as_float().unwrap_or_else(|e| panic!("{e}")))).collect()
}

#[test]
fn pdf_has_the_sheets_boxes_and_asks_not_to_be_scaled() {
    let net = net::sample();
    let bytes = output::pdf(&plan_of(&net, SoftLines::Broken, false), &on_a4(), &framed());
    let document = lopdf::Document::load_mem(&bytes).unwrap_or_else(|e| panic!("{e}"));
    let pages: Vec<lopdf::ObjectId> = document.page_iter().collect();
    assert_eq!(pages.len(), 1, "one page");
    let page = document.get_dictionary(pages[0]).unwrap_or_else(|e| panic!("{e}"));
    for name in [&b"MediaBox"[..], b"CropBox", b"TrimBox"] {
        let found = reals(page.get(name).unwrap_or_else(|e| panic!("{e}")));
        // 210 and 297 mm in points of 1/72 in.
        let expected = [0.0, 0.0, 595.275_59, 841.889_76];
        let near = found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-3);
        assert!(near, "{} is {found:?}", String::from_utf8_lossy(name));
    }
    let catalog = document.catalog().unwrap_or_else(|e| panic!("{e}"));
    let viewer =
        catalog.get(b"ViewerPreferences").and_then(lopdf::Object::as_dict).unwrap_or_else(|e| panic!("{e}"));
    let scaling =
        viewer.get(b"PrintScaling").and_then(lopdf::Object::as_name).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(scaling, b"None", "no scaling in print");
    let layers =
        catalog.get(b"OCProperties").and_then(lopdf::Object::as_dict).unwrap_or_else(|e| panic!("{e}"));
    let groups = layers.get(b"OCGs").and_then(lopdf::Object::as_array).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(groups.len(), 2, "hard and soft can be switched apart");
    let info = document
        .trailer
        .get(b"Info")
        .and_then(|i| document.dereference(i))
        .unwrap_or_else(|e| panic!("{e}"))
        .1;
    let info = info.as_dict().unwrap_or_else(|e| panic!("{e}"));
    assert!(info.get(b"Title").is_ok(), "it has its title");
    assert!(info.get(b"CreationDate").is_err() && info.get(b"ModDate").is_err(), "and no date");
}

#[test]
fn pdf_draws_the_strokes_in_millimetres() {
    let net = net::sample();
    for plan in every_plan(&net) {
        let bytes = output::pdf(&plan, &on_a4(), &DrawingOptions::default());
        let document = lopdf::Document::load_mem(&bytes).unwrap_or_else(|e| panic!("{e}"));
        let page = document.page_iter().next().unwrap_or_else(|| panic!("no page"));
        let content = document.get_page_content(page);
        let content = lopdf::content::Content::decode(&content).unwrap_or_else(|e| panic!("{e}"));
        let count = |name: &str| content.operations.iter().filter(|o| o.operator == name).count();
        let cubics: usize = plan.strokes.iter().map(|s| s.curve.len()).sum();
        assert_eq!(count("m"), plan.strokes.len(), "one beginning a stroke");
        assert_eq!(count("c"), cubics, "curves stay cubics");
        assert_eq!(count("S"), plan.strokes.len(), "each is stroked");
        assert_eq!(count("h"), plan.strokes.iter().filter(|s| s.closed).count(), "closed ones close");
        assert_eq!((count("BDC"), count("EMC")), (2, 2), "two layers");
        let numbers = |o: &lopdf::content::Operation| -> Vec<f64> {
            o.operands.iter().filter_map(|n| n.as_float().ok()).map(f64::from).collect()
        };
        let widths: Vec<f64> =
            content.operations.iter().filter(|o| o.operator == "w").flat_map(numbers).collect();
        assert!((widths[0] - 0.35).abs() < 1e-6 && (widths[1] - 0.18).abs() < 1e-6, "in mm: {widths:?}");
        let matrix: Vec<f64> =
            content.operations.iter().filter(|o| o.operator == "cm").flat_map(numbers).collect();
        let mm = 72.0 / 25.4;
        let expected = [mm, 0.0, 0.0, -mm, 0.0, 297.0 * mm];
        assert!(matrix.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-3), "mm, y down: {matrix:?}");
        // Where the strokes begin, in order: hard ones, then soft ones, as planned.
        let starts: Vec<Vec<f64>> =
            content.operations.iter().filter(|o| o.operator == "m").map(numbers).collect();
        for (start, stroke) in starts.iter().zip(&plan.strokes) {
            let p = stroke.curve[0].p0;
            assert!((start[0] - p.x).abs() < 1e-4 && (start[1] - p.y).abs() < 1e-4, "{start:?} is not {p:?}");
        }
    }
}

#[test]
fn very_large_sheets_take_larger_units() {
    let placement = Placement { sheet_mm: [10_000.0, 6_000.0], ..on_a4() };
    let bytes = output::pdf(&StrokePlan::default(), &placement, &DrawingOptions::default());
    let document = lopdf::Document::load_mem(&bytes).unwrap_or_else(|e| panic!("{e}"));
    let page = document.page_iter().next().unwrap_or_else(|| panic!("no page"));
    let page = document.get_dictionary(page).unwrap_or_else(|e| panic!("{e}"));
    let unit =
        f64::from(page.get(b"UserUnit").and_then(lopdf::Object::as_float).unwrap_or_else(|e| panic!("{e}")));
    let side = reals(page.get(b"MediaBox").unwrap_or_else(|e| panic!("{e}")))[2];
    assert!(side <= 14_400.0, "within what a page may count (ISO 32000-1, annex C): {side}");
    assert!((side * unit * 25.4 / 72.0 - 10_000.0).abs() < 0.01, "10 m in all");
}

#[test]
fn previews_have_the_size_asked_for_and_lines_in_place() {
    let plan = plan_of(&net::sample(), SoftLines::Solid, false);
    let bytes =
        output::png(&plan, &on_a4(), &DrawingOptions::default(), 6.0).unwrap_or_else(|e| panic!("{e}"));
    let grey = image::load_from_memory(&bytes).unwrap_or_else(|e| panic!("{e}")).to_luma8();
    assert_eq!(grey.dimensions(), (1260, 1782), "6 px/mm of A4");
    for stroke in plan.strokes.iter().filter(|s| s.hard) {
        let p = stroke.curve[0].p0;
        let at = grey.get_pixel((p.x * 6.0) as u32, (p.y * 6.0) as u32).0[0];
        assert!(at < 128, "the stroke at {p:?} begins in ink, not on {at}");
    }
    assert_eq!(grey.get_pixel(0, 0).0[0], 255, "bare paper in the corner");
    for pixels_per_mm in [0.0, -1.0, f64::NAN, f64::INFINITY, 1000.0] {
        let refused = output::png(&plan, &on_a4(), &DrawingOptions::default(), pixels_per_mm);
        assert!(refused.is_err(), "{pixels_per_mm} px/mm was taken");
    }
}

fn sample_report() -> Report {
    let mut report = Report::new(&on_a4());
    report.values = 3;
    report.breaks = vec![66.666_666_7, 33.3];
    report.kind.name = "tonal".into();
    report.kind.evidence = BTreeMap::from([("share_of_ink".into(), 0.031_25)]);
    report.limits.asked = BTreeMap::from([("narrowest_mm".into(), 1.0), ("least_area_mm2".into(), 6.0)]);
    report.limits.used = report.limits.asked.clone();
    report
}

#[test]
fn report_and_net_keep_their_schemas() {
    let mut report = sample_report();
    let text = output::report_json(&report);
    schema::check("report", &text);
    let order = [
        "picture_mm",
        "sheet_mm",
        "values",
        "breaks",
        "kind",
        "pitch_mm",
        "pitch_regions",
        "limits",
        "areas",
    ];
    let order = order.iter().chain(&["transitions", "thin", "strokes", "travel_mm", "refits", "version"]);
    let places: Vec<usize> = order
        .map(|name| {
            text.find(&format!("\n  \"{name}\"")).unwrap_or_else(|| panic!("no {name} in the report"))
        })
        .collect();
    assert!(places.is_sorted(), "the fields stand in the order of the contract");
    assert!(!text.contains("timings"), "timings only when asked for");
    report.timings_ms = Some(BTreeMap::from([("net".into(), 12.5)]));
    report.distances_mm = output::Distances { placed: 0.3, smoothed: 0.2, fitted: 0.1 };
    schema::check("report", &output::report_json(&report));

    let net = net::sample();
    let text = output::net_json(&net, &[], &on_a4());
    schema::check("net", &text);
    let file: serde_json::Value = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e}"));
    for (t, written) in net.transitions.iter().zip(file["transitions"].as_array().into_iter().flatten()) {
        let points = written["cubics"].as_array().map_or(0, Vec::len);
        assert_eq!(points, 3 * t.curve.len() + 1, "3n+1 points of n cubics");
        let first = written["cubics"][0][0].as_f64().unwrap_or(f64::NAN);
        assert!((first - (t.curve[0].p0.x + 20.0)).abs() < 1e-9, "moved on to the sheet");
    }
}

#[test]
fn schemas_refuse_what_breaks_them() {
    let good = output::report_json(&sample_report());
    for (from, to) in
        [("\"values\": 3", "\"values\": \"3\""), ("\"travel_mm\"", "\"travel\""), ("20.0", "-20.0")]
    {
        assert!(good.contains(from), "the report holds {from}");
        assert!(!schema::faults("report", &good.replace(from, to)).is_empty(), "{to} was taken");
    }
}

#[test]
fn the_same_drawing_gives_the_same_bytes() {
    let all = || {
        let net = net::sample();
        let plan = plan_of(&net, SoftLines::Broken, true);
        let png = output::png(&plan, &on_a4(), &framed(), 3.0).unwrap_or_else(|e| panic!("{e}"));
        let net_file = output::net_json(&net, &[], &on_a4());
        let report = output::report_json(&sample_report());
        let svg = output::svg(&plan, &on_a4(), &framed());
        [svg.into_bytes(), output::pdf(&plan, &on_a4(), &framed()), png, net_file.into(), report.into()]
    };
    assert_eq!(all(), all(), "no clock and no chance in any output");
    let titled = |title: &str| {
        let options = DrawingOptions { title: title.into(), ..DrawingOptions::default() };
        let bytes = output::pdf(&StrokePlan::default(), &on_a4(), &options);
        let document = lopdf::Document::load_mem(&bytes).unwrap_or_else(|e| panic!("{e}"));
        format!("{:?}", document.trailer.get(b"ID").unwrap_or_else(|e| panic!("{e}")))
    };
    assert_ne!(titled("a"), titled("b"), "another drawing has another id");
}

/// Leaves the sample's files in the target folder, where `tests/outside/check_outputs.sh` finds them.
#[test]
fn sample_files_are_left_for_outside_checks() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("outputs");
    std::fs::create_dir_all(&folder).unwrap_or_else(|e| panic!("{e}"));
    let net = net::sample();
    for (name, soft, chain) in [("solid", SoftLines::Solid, false), ("broken", SoftLines::Broken, true)] {
        let plan = plan_of(&net, soft, chain);
        let png = output::png(&plan, &on_a4(), &framed(), 6.0).unwrap_or_else(|e| panic!("{e}"));
        for (extension, bytes) in [
            ("svg", output::svg(&plan, &on_a4(), &framed()).into_bytes()),
            ("pdf", output::pdf(&plan, &on_a4(), &framed())),
            ("png", png),
        ] {
            let path = folder.join(format!("{name}.{extension}"));
            write_file(&path, &bytes, true).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(std::fs::read(&path).ok(), Some(bytes), "{} is whole", path.display());
        }
    }
}

/// Where [`a_large_file_is_written_as_a_child`] writes to; set by whoever starts it.
const CHILD_TARGET: &str = "MERESTONE_TEST_TARGET";

/// Run by [`files_over_the_size_limit_are_refused`] in a process of its own, because the limit is the process's.
#[test]
#[ignore = "run by files_over_the_size_limit_are_refused under its limit"]
fn a_large_file_is_written_as_a_child() {
    let target = std::env::var_os(CHILD_TARGET).unwrap_or_else(|| panic!("{CHILD_TARGET} names the file"));
    let error = write_file(Path::new(&target), &vec![b'x'; 1 << 20], false).expect_err("1 MB over the limit");
    panic!("refused: {error}");
}

#[cfg(unix)]
#[test]
fn files_over_the_size_limit_are_refused() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("size-limit");
    // What an earlier run may have left; there need be nothing.
    let _gone = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap_or_else(|e| panic!("{e}"));
    let exe = std::env::current_exe().unwrap_or_else(|e| panic!("{e}"));
    let child = std::process::Command::new("sh")
        // POSIX counts the limit in blocks of 512 bytes, some shells in 1,024: both are under 1 MB.
        .args(["-c", "ulimit -f 100 && exec \"$0\" --exact outputs::a_large_file_is_written_as_a_child --ignored --nocapture"])
        .arg(exe)
        .env(CHILD_TARGET, folder.join("large.svg"))
        .output()
        .unwrap_or_else(|e| panic!("{e}"));
    let said = String::from_utf8_lossy(&child.stdout).into_owned() + &String::from_utf8_lossy(&child.stderr);
    assert!(
        said.contains("refused: ") && said.contains("limit on file sizes"),
        "one clear sentence, not {said}"
    );
    let left = std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{e}")).count();
    assert_eq!(left, 0, "nothing is left behind");
}
