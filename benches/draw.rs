//! The stages one by one on the still life at A4, so that they can be compared over time: `cargo bench`.

use std::path::Path;

use divan::{Bencher, black_box};
use kurbo::Point;
use merestone::areas::{self, AreaMap};
use merestone::output::{DrawingOptions, svg};
use merestone::raster::Raster;
use merestone::reference::{ReadOptions, Reference, read_bytes, resample};
use merestone::sheet::{Paper, Placement, place};
use merestone::strokes::{Gates, StrokePlan, plan_strokes, shortest_way};
use merestone::study::{Settings, working_scale};
use merestone::tone::{self, ToneField};
use merestone::transitions::{self, Traced};

fn main() {
    divan::main();
}

/// Everything up to the stage that is timed.
struct Work {
    bytes: Vec<u8>,
    settings: Settings,
    placement: Placement,
    px_per_mm: f64,
}

impl Work {
    fn new() -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/still-life-hatched.png");
        let bytes = std::fs::read(path).expect("the example is there");
        let settings = Settings::on(Paper::parse("a4").expect("A4 is a paper"));
        let picture = read(&bytes);
        let pixels = [picture.luminance.width(), picture.luminance.height()];
        let placement = place(&settings.paper, pixels, 1.0, &settings.place).expect("it fits").value;
        let px_per_mm = working_scale(pixels, &placement.picture_mm, settings.narrowest_mm)
            .expect("A4 can be worked")
            .value;
        Self { bytes, settings, placement, px_per_mm }
    }

    fn resampled(&self, luminance: &Raster<f32>) -> Raster<f32> {
        let side = |mm: f64| (mm * self.px_per_mm).round().max(1.0) as usize;
        let picture = &self.placement.picture_mm;
        resample(luminance, side(picture.width), side(picture.height))
    }

    fn working(&self) -> Raster<f32> {
        self.resampled(&read(&self.bytes).luminance)
    }

    fn tone(&self, working: &Raster<f32>) -> ToneField {
        tone::measure(working, self.px_per_mm, &self.settings.tone_options()).expect("it has tones").value
    }

    fn areas(&self, tone: &ToneField) -> AreaMap {
        areas::find(tone, &self.settings.area_options())
    }

    fn traced(&self, tone: &ToneField, map: &AreaMap) -> Traced {
        transitions::trace(tone, map, &self.settings.net_options())
    }

    fn strokes(&self, traced: &Traced) -> StrokePlan {
        plan_strokes(&traced.net, &self.placement, &self.settings.stroke_options())
    }
}

fn read(bytes: &[u8]) -> Reference {
    read_bytes(bytes, "still life", &ReadOptions::default()).expect("the example can be read").value
}

#[divan::bench(sample_count = 20)]
fn a_read(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    bencher.bench(|| read(black_box(&work.bytes)));
}

#[divan::bench(sample_count = 20)]
fn b_resample(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    let picture = read(&work.bytes);
    bencher.bench(|| work.resampled(black_box(&picture.luminance)));
}

#[divan::bench(sample_count = 10)]
fn c_tone(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    let working = work.working();
    bencher.bench(|| work.tone(black_box(&working)));
}

#[divan::bench(sample_count = 10)]
fn d_areas(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    let tone = work.tone(&work.working());
    bencher.bench(|| work.areas(black_box(&tone)));
}

#[divan::bench(sample_count = 10)]
fn e_transitions(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    let tone = work.tone(&work.working());
    let map = work.areas(&tone);
    bencher.bench(|| work.traced(black_box(&tone), black_box(&map)));
}

#[divan::bench(sample_count = 50)]
fn f_strokes(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    let tone = work.tone(&work.working());
    let traced = work.traced(&tone, &work.areas(&tone));
    bencher.bench(|| work.strokes(black_box(&traced)));
}

#[divan::bench(sample_count = 50)]
fn g_svg(bencher: Bencher<'_, '_>) {
    let work = Work::new();
    let tone = work.tone(&work.working());
    let traced = work.traced(&tone, &work.areas(&tone));
    let plan = work.strokes(&traced);
    bencher.bench(|| svg(black_box(&plan), &work.placement, &DrawingOptions::default()));
}

/// The shortest way through the fixed nets of 200 to 2000 strokes: each has to stay under a second.
#[divan::bench(sample_count = 5, args = ["astronaut a4", "coffee a4", "coffee a3", "random 1000", "astronaut a2"])]
fn h_order_of_strokes(bencher: Bencher<'_, '_>, name: &str) {
    let nets: Vec<serde_json::Value> =
        serde_json::from_str(include_str!("../tests/data/stroke-nets.json")).expect("the nets are JSON");
    let net = nets.iter().find(|net| net["name"] == name).expect("a net of this name");
    let point = |v: &serde_json::Value| Point::new(v[0].as_f64().expect("x"), v[1].as_f64().expect("y"));
    let strokes: Vec<Gates> = net["strokes"]
        .as_array()
        .expect("strokes")
        .iter()
        .map(|s| {
            let at: Vec<Point> = s["at"].as_array().expect("points").iter().map(point).collect();
            if s["closed"] == true { Gates::Closed(at) } else { Gates::Open([at[0], at[1]]) }
        })
        .collect();
    bencher.bench(|| shortest_way(black_box(&strokes), Point::ZERO, Some(Point::ZERO)));
}
