//! The reference as it comes, through the program: crops, corners, light, frames, and what is said of them.

use image::{GrayImage, Luma, imageops};
use serde_json::Value;

use crate::outputs::schema;
use crate::program::{Desk, scene};

/// A page: the scene on white paper with a margin of 40 pixels, 320 x 400.
fn page() -> GrayImage {
    let mut page = GrayImage::from_pixel(320, 400, Luma([255]));
    imageops::overlay(&mut page, &scene(), 40, 40);
    page
}

/// The page upright on a dark table, 500 x 600.
fn on_table() -> GrayImage {
    let mut table = GrayImage::from_pixel(500, 600, Luma([60]));
    imageops::overlay(&mut table, &page(), 90, 100);
    table
}

fn desk(name: &str, picture: &GrayImage) -> Desk {
    let desk = Desk::new();
    picture.save(desk.path(name)).expect("a picture can be saved");
    desk
}

/// Runs `draw` on a picture of the desk at a size that takes little time; it has to go well.
fn draw(desk: &Desk, picture: &str, svg: &str, more: &[&str]) -> String {
    let mut args =
        vec!["draw", picture, "--paper", "70x90mm", "--margin", "5mm", "--marks", "none", "-o", svg];
    args.extend(more);
    let outcome = desk.run(&args);
    assert_eq!(outcome.code, 0, "{args:?}: {}", outcome.err);
    outcome.err
}

fn report(desk: &Desk, name: &str) -> Value {
    let text = String::from_utf8(desk.get(name)).expect("a report is text");
    schema::check("report", &text);
    serde_json::from_str(&text).expect("a report is JSON")
}

/// Runs `draw` on the scene with options that have to be refused in one sentence.
fn refused(more: &[&str], code: i32, part: &str) {
    let desk = Desk::with_picture();
    let before = desk.everything();
    let outcome = desk.draw(more);
    assert_eq!(outcome.code, code, "{more:?}: {}", outcome.err);
    assert_eq!(outcome.err.trim_end().lines().count(), 1, "{more:?}: {:?}", outcome.err);
    assert!(outcome.err.contains(part), "{more:?}: {:?} lacks {part:?}", outcome.err);
    assert!(desk.everything() == before, "{more:?}: the folder changed");
}

#[test]
fn a_crop_draws_what_the_cut_picture_draws() {
    let desk = desk("page.png", &page());
    imageops::crop_imm(&page(), 40, 40, 240, 320).to_image().save(desk.path("cut.png")).expect("saved");
    draw(&desk, "cut.png", "cut.svg", &[]);
    for (name, crop) in
        [("shares.svg", "rect:12.5%,10%,75%,80%"), ("pixels.svg", "rect:40px,40px,240px,320px")]
    {
        draw(&desk, "page.png", name, &["--crop", crop]);
        assert!(desk.get(name) == desk.get("cut.svg"), "{crop} draws something else");
    }
}

#[test]
fn corners_of_an_upright_page_are_a_crop() {
    let desk = desk("page.png", &page());
    draw(&desk, "page.png", "crop.svg", &["--crop", "rect:40px,40px,240px,320px"]);
    let corners = ["--corners", "40px,40px", "280px,40px", "280px,360px", "40px,360px"];
    let said = draw(
        &desk,
        "page.png",
        "corners.svg",
        &[&corners[..], &["--true-shape", "3:4", "--report", "a.json"]].concat(),
    );
    assert!(desk.get("corners.svg") == desk.get("crop.svg"), "one pixel for one gives the same drawing");
    assert!(!said.contains("--true-shape"), "the shape was given: {said}");
    assert_eq!(report(&desk, "a.json")["page"]["flat"]["size_px"], serde_json::json!([240, 320]), "size");
}

/// A photograph mixes paper into the picture's edge, and a crop a pixel too wide has more of it: no line runs along the frame.
#[test]
fn a_crop_along_the_pictures_edge_shows_no_paper() {
    let mut page = GrayImage::from_pixel(320, 400, Luma([250]));
    let halves = GrayImage::from_fn(240, 320, |x, _| Luma([if x < 120 { 90 } else { 170 }]));
    imageops::overlay(&mut page, &halves, 40, 40);
    let desk = desk("page.png", &imageops::blur(&page, 1.0));
    let corners = ["--corners", "0px,0px", "320px,0px", "320px,400px", "0px,400px", "--true-shape", "4:5"];
    let crop = ["--crop", "rect:39px,39px,242px,322px", "--report", "a.json"];
    let fine = ["--narrowest", "0.4mm", "--least-area", "2mm2", "--plainness", "0"];
    draw(&desk, "page.png", "a.svg", &[&corners[..], &crop, &fine].concat());
    let drawn = report(&desk, "a.json");
    assert_eq!(drawn["areas"]["count"], 2, "the two halves");
    assert_eq!(drawn["transitions"]["count"], 1, "and the border between them");
}

#[test]
fn a_page_on_a_table_is_found_and_told() {
    let desk = desk("table.png", &on_table());
    let more = [
        "--find-page",
        "--true-shape",
        "80x100mm",
        "--crop",
        "rect:10mm,10mm,60mm,80mm",
        "--report",
        "a.json",
    ];
    let said = draw(&desk, "table.png", "a.svg", &more);
    assert!(said.contains("page was found"), "{said}");
    let page = &report(&desk, "a.json")["page"];
    let want = [[130.0, 140.0], [370.0, 140.0], [370.0, 460.0], [130.0, 460.0]];
    for (k, want) in want.iter().enumerate() {
        for axis in 0..2 {
            let got = page["picture_corners_px"][k][axis].as_f64().unwrap_or(f64::NAN);
            assert!((got - want[axis]).abs() < 0.3, "corner {k}: {got} for {}", want[axis]);
        }
    }
    assert!(page["flat"]["confidence"].as_f64() > Some(0.95), "{page}");
    assert!(page["light"].is_null() && page["frame"].is_null(), "nothing else was asked for: {page}");
}

#[test]
fn a_rule_is_left_out_unless_it_is_to_stay() {
    let mut ruled = page();
    for y in 30..370_u32 {
        for x in 30..290_u32 {
            if x < 32 || y < 32 || x >= 288 || y >= 368 {
                ruled.put_pixel(x, y, Luma([10]));
            }
        }
    }
    let desk = desk("ruled.png", &ruled);
    let said = draw(&desk, "ruled.png", "a.svg", &["--report", "a.json"]);
    assert!(said.contains("--keep-frame") && said.contains("rule"), "{said}");
    assert_eq!(report(&desk, "a.json")["page"]["frame"]["rules"], 1, "one rule");
    let said = draw(&desk, "ruled.png", "b.svg", &["--keep-frame", "--report", "b.json"]);
    assert!(!said.contains("Left out"), "{said}");
    assert!(report(&desk, "b.json").get("page").is_none(), "nothing was done");
}

#[test]
fn evened_light_is_reported_and_shown() {
    let mut dim = page();
    for (_, y, p) in dim.enumerate_pixels_mut() {
        p.0[0] = (f64::from(p.0[0]) * (1.0 - 0.25 * f64::from(y) / 400.0)) as u8;
    }
    let desk = desk("dim.png", &dim);
    let more = ["--even-light", "--before-after", "look.png", "--report", "a.json"];
    let said = draw(&desk, "dim.png", "a.svg", &more);
    assert!(said.contains("Light was evened"), "{said}");
    let light = &report(&desk, "a.json")["page"]["light"];
    assert_eq!(light["told_by"], "paper", "{light}");
    assert!(light["paper_after"][0].as_f64() > Some(99.0), "{light}");
    let look = image::load_from_memory(&desk.get("look.png")).expect("a picture").to_luma8();
    // Two halves of 320 x 400 with three gaps of 16; the paper at the lower left corner of each.
    assert_eq!(look.dimensions(), (688, 432), "side by side");
    let (before, after) = (look.get_pixel(24, 400).0[0], look.get_pixel(16 + 320 + 24, 400).0[0]);
    assert!(before < 215 && after > 252, "paper was {before} and is {after}");
    let again = desk.run(&["draw", "dim.png", "-o", "c.svg", "--before-after", "look.png"]);
    assert_eq!(again.code, 2, "it is there already: {}", again.err);
}

#[test]
fn the_same_again_with_any_number_of_threads() {
    let desk = desk("table.png", &on_table());
    let more = ["--find-page", "--even-light", "--before-after"];
    draw(
        &desk,
        "table.png",
        "a.svg",
        &[&more[..], &["a.png", "--threads", "1", "--report", "a.json"]].concat(),
    );
    draw(
        &desk,
        "table.png",
        "b.svg",
        &[&more[..], &["b.png", "--threads", "3", "--report", "b.json"]].concat(),
    );
    for ending in ["svg", "png", "json"] {
        assert!(desk.get(&format!("a.{ending}")) == desk.get(&format!("b.{ending}")), "{ending} differs");
    }
}

#[test]
fn what_is_no_page_is_refused_in_one_sentence() {
    let corners = |list: [&'static str; 4]| [&["--corners"][..], &list[..]].concat();
    refused(&corners(["10%,10%", "90%,90%", "90%,10%", "10%,90%"]), 2, "cross");
    refused(&corners(["10%,10%", "50%,10%", "90%,10%", "10%,90%"]), 2, "in one line");
    refused(&corners(["10%,10%", "90%,10%", "90%,130%", "10%,90%"]), 2, "outside");
    refused(&corners(["10%,90%", "90%,90%", "90%,10%", "10%,10%"]), 2, "anticlockwise");
    refused(&corners(["10%,10%", "90%,10%", "25%,25%", "10%,90%"]), 2, "between the other three");
    refused(&corners(["10mm,10mm", "50mm,10mm", "50mm,60mm", "10mm,60mm"]), 2, "--true-shape");
    refused(&corners(["10,10", "90,10", "90,90", "10,90"]), 2, "no measure");
    refused(&["--corners", "10%,10%", "90%,10%"], 2, "2 corners are no page");
    refused(&["--corners", "10%,10%", "90%,10%", "90%,90%", "--keep-frame"], 2, "3 corners are no page");
    refused(&["--find-page"], 1, "--corners");
    refused(&["--true-shape", "3:4"], 2, "--find-page");
    refused(&["--find-page", "--true-shape", "wide"], 2, "no shape");
    refused(&["--crop", "rect:50%,0%,60%,100%"], 2, "reaches out");
    refused(&["--crop", "rect:0px,0px,0.2px,10px"], 2, "not one pixel");
    refused(&["--crop", "rect:0mm,0mm,20mm,20mm"], 2, "resolution");
    refused(&["--crop", "10%,10%,50%,50%"], 2, "rect:");
    refused(&["--before-after", "look.jpg"], 2, ".png");
}

#[test]
fn without_paper_light_is_guessed_only_on_request() {
    let tonal = GrayImage::from_fn(240, 320, |x, y| {
        Luma([(90.0 + 50.0 * (f64::from(x) / 40.0).sin() * (f64::from(y) / 50.0).cos()) as u8])
    });
    let desk = desk("tonal.png", &tonal);
    let outcome = desk.run(&["draw", "tonal.png", "--even-light", "-o", "a.svg"]);
    assert_eq!(outcome.code, 1, "{}", outcome.err);
    assert!(outcome.err.contains("--even-light=guess"), "{}", outcome.err);
    let said = draw(&desk, "tonal.png", "a.svg", &["--even-light=guess"]);
    assert!(said.contains("guess"), "{said}");
}
