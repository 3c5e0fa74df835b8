//! debug: dbg_draw image w_mm svg values narrowest least plainness
use merestone::{raster::Raster, tone::*, areas, transitions, colour};
use std::fmt::Write;
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let im = image::open(&a[1]).unwrap().to_luma8();
    let (w, h) = im.dimensions();
    let wmm: f64 = a[2].parse().unwrap();
    let narrowest: f64 = a[5].parse().unwrap();
    let ref_ppm = f64::from(w) / wmm;
    let fixed = a[7] == "0";
    let want = 6.0_f64.min(ref_ppm).max(4.0 / narrowest);
    let nw = (wmm * want).round() as u32;
    let nh = (f64::from(h) * f64::from(nw) / f64::from(w)).round() as u32;
    let ppm = f64::from(nw) / wmm;
    let y: Vec<f32> = im.as_raw().iter().map(|&v| colour::srgb_to_linear(f64::from(v) / 255.0) as f32).collect();
    let r = Raster::from_vec(w as usize, h as usize, y);
    let t = std::time::Instant::now();
    let r = merestone::reference::resample(&r, nw as usize, nh as usize);
    let o = if fixed { ToneOptions { breaks: BreakRule::Even, tone_range: ToneRange::Fixed([0.0, 100.0]), ..Default::default() } } else { ToneOptions::default() };
    let f = measure(&r, ppm, &o).unwrap().value;
    let t1 = t.elapsed();
    let m = areas::find(&f, &areas::AreaOptions { narrowest_mm: narrowest, least_area_mm2: a[6].parse().unwrap() });
    let t2 = t.elapsed();
    let n = transitions::trace(&f, &m, &transitions::NetOptions { plainness: a[7].parse().unwrap(), ..Default::default() });
    eprintln!("{:?} width {} uneven {:.2} pitch {:?} scale {:?} leaves {} net {:.0} mm {} transitions {} refits {} meetings {} t {:?} {:?} {:?}", f.kind, f.mean_width_mm, f.unevenness, f.pitch_mm, f.scale.breaks(), m.tree.leaves(), n.net.length_mm(), n.net.transitions.len(), n.refits, n.meetings, 0, t1, t2, t.elapsed());
    let mut s = String::new();
    let hmm = n.net.height_mm;
    write!(s, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{wmm}mm\" height=\"{hmm}mm\" viewBox=\"0 0 {wmm} {hmm}\"><rect width=\"{wmm}\" height=\"{hmm}\" fill=\"white\"/><g id=\"boundary\" fill=\"none\" stroke=\"black\" stroke-width=\".35\">").unwrap();
    for t in &n.net.transitions {
        write!(s, "<path d=\"{}\" stroke=\"{}\" data-e=\"{:.2}\"/>", t.path().to_svg(), if t.hard { "black" } else { "#777" }, t.edge_mm).unwrap();
    }
    s.push_str("</g></svg>");
    std::fs::write(&a[3], s).unwrap();
    image::save_buffer(&a[4], n.values.data(), n.values.width() as u32, n.values.height() as u32, image::ExtendedColorType::L8).unwrap();
    if let Some(p) = a.get(8) { let out: Vec<u8> = f.lightness.data().iter().map(|&l| (l * 2.55) as u8).collect();
    image::save_buffer(p, &out, nw, nh, image::ExtendedColorType::L8).unwrap(); }
}
