//! The files of a plotter: their names, what may be written, and their bytes.

use std::fs;
use std::path::{Path, PathBuf};

use merestone::output::{order_view_png, order_view_svg, plotter_svg};
use merestone::plotter::PlotterPlan;
use merestone::study::Settings;

use super::files::{Content, Input, Output, Outputs, ending_of, folder_of};
use super::plotter_args::PlotterFileArgs;
use super::print::Failure;

/// Pixels per mm of the view of the order.
const VIEW_PX_PER_MM: f64 = 6.0;

/// Adds a plotter's files to what is written, and checks them with the others; with a file for `each` part, those that
/// are there already are given back.
pub(crate) fn add(
    outputs: &mut Outputs,
    args: &PlotterFileArgs,
    each: bool,
    input: &Input,
) -> Result<Vec<PathBuf>, Failure> {
    let Some(path) = &args.plotter else { return Ok(Vec::new()) };
    if ending_of(path) != "svg" {
        return Err(Failure::wrong_use(format!(
            "--plotter writes a .svg file, but {} has another ending; rename it",
            path.display()
        )));
    }
    outputs.list.push(Output::File(Content::Plotter, path.clone()));
    if let Some(view) = &args.order_view {
        let content = match ending_of(view).as_str() {
            "svg" => Content::OrderSvg,
            "png" => Content::OrderPng,
            _ => {
                return Err(Failure::wrong_use(format!(
                    "--order-view writes a .svg or .png file, but {} has another ending; rename it",
                    view.display()
                )));
            }
        };
        outputs.list.push(Output::File(content, view.clone()));
    }
    let old = if each { parts_there(path) } else { Vec::new() };
    if let Some(first) = old.first().filter(|_| !outputs.overwrite) {
        return Err(Failure::wrong_use(format!(
            "{} exists already; add --overwrite to replace it, or give another name",
            first.display()
        )));
    }
    outputs.check(input)?;
    Ok(old)
}

/// Parts of an earlier run: the file's name, two digits and a layer.
fn parts_there(path: &Path) -> Vec<PathBuf> {
    let stem = format!("{}-", path.file_stem().unwrap_or_default().to_string_lossy());
    let Ok(entries) = fs::read_dir(folder_of(path)) else { return Vec::new() };
    let is_part = |found: &PathBuf| {
        let name = found.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let rest = name.strip_prefix(&stem).unwrap_or_default();
        let number = rest.split('-').next().unwrap_or_default();
        rest.contains('-')
            && number.len() >= 2
            && number.bytes().all(|b| b.is_ascii_digit())
            && name.ends_with(".svg")
    };
    let mut found: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).filter(is_part).collect();
    found.sort();
    found
}

/// Puts the files of the parts in place of the one file, numbered in drawing order, and checks them.
pub(crate) fn divide(outputs: &mut Outputs, plan: &PlotterPlan, input: &Input) -> Result<(), Failure> {
    let Some(at) = outputs.list.iter().position(|o| o.content() == Content::Plotter) else { return Ok(()) };
    let Output::File(_, path) = outputs.list.remove(at) else { return Ok(()) };
    for (k, part) in plan.parts.iter().enumerate().rev() {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let name = format!("{stem}-{:02}-{}.svg", k + 1, part.name());
        outputs.list.insert(at, Output::File(Content::PlotterPart(k), path.with_file_name(name)));
    }
    outputs.check(input)
}

/// What there is to say of parts of an earlier run that are not replaced.
pub(crate) fn left_over(outputs: &Outputs, old: &[PathBuf]) -> Option<String> {
    let names = |path: &PathBuf| path.file_name().map(ToOwned::to_owned);
    let written = |path: &&PathBuf| {
        !outputs.list.iter().any(|o| matches!(o, Output::File(_, new) if names(new) == names(path)))
    };
    let left: Vec<String> = old.iter().filter(written).map(|path| path.display().to_string()).collect();
    (!left.is_empty()).then(|| {
        format!("Parts of an earlier drawing are left and do not belong to this one: {}.", left.join(", "))
    })
}

/// The bytes of a plotter's file; none when the content is another.
pub(crate) fn bytes(
    content: Content,
    plan: &PlotterPlan,
    settings: &Settings,
    sheet_mm: [f64; 2],
) -> Result<Option<Vec<u8>>, Failure> {
    let title = format!("Plotter, {}", settings.paper.name);
    let polylines_mm = settings.plotter.as_ref().and_then(|options| options.polylines_mm);
    let svg = |parts| plotter_svg(parts, sheet_mm, settings.line_mm, &title, polylines_mm).into_bytes();
    Ok(Some(match content {
        Content::Plotter => svg(&plan.parts),
        Content::PlotterPart(k) => svg(&plan.parts[k..=k]),
        Content::OrderSvg => order_view_svg(plan, sheet_mm, &title).into_bytes(),
        Content::OrderPng => {
            order_view_png(plan, sheet_mm, &title, VIEW_PX_PER_MM).map_err(Failure::other)?
        }
        _ => return Ok(None),
    }))
}
