//! A file for each page, where an SVG or a picture has several pages.

use std::path::{Path, PathBuf};

use super::files::{Content, Input, Output, Outputs, beside, ending_of};
use super::print::Failure;

impl Outputs {
    /// Refuses other forms than PDF for a sheet that is one.
    pub(crate) fn pdf_only(&self, what: &str) -> Result<(), Failure> {
        let other = |content| matches!(content, Content::Svg | Content::Png);
        match self.list().iter().any(|output| other(output.content())) {
            false => Ok(()),
            true => Err(Failure::wrong_use(format!(
                "{what} is a PDF with pages of its own; end the name in .pdf (or --forms pdf with --into, or --format pdf \
                 with -o -)"
            ))),
        }
    }

    /// Refuses a first page that is there already: only the work shows how many pages there are, but it shall not be in vain.
    pub(crate) fn check_first_pages(&self) -> Result<(), Failure> {
        if self.overwrite {
            return Ok(());
        }
        for output in self.list() {
            if let Output::File(Content::Svg | Content::Png, path) = output {
                let first = numbered(path, 0);
                if first.exists() {
                    return Err(Failure::wrong_use(format!(
                        "{} exists already; add --overwrite to replace it, or give another name",
                        first.display()
                    )));
                }
            }
        }
        Ok(())
    }

    /// Puts a file for each page in place of an SVG or a picture, where there are several pages.
    pub(crate) fn divide_pages(&mut self, pages: usize, input: &Input) -> Result<(), Failure> {
        if pages < 2 {
            return Ok(());
        }
        let mut list = Vec::new();
        for output in std::mem::take(&mut self.list) {
            let page: fn(usize) -> Content = match output.content() {
                Content::Svg => Content::PageSvg,
                Content::Png => Content::PagePng,
                _ => {
                    list.push(output);
                    continue;
                }
            };
            match output {
                Output::File(_, path) => {
                    list.extend((0..pages).map(|k| Output::File(page(k), numbered(&path, k))));
                }
                Output::Piped(_) => {
                    return Err(Failure::wrong_use(format!(
                        "there are {pages} pages, but one standard output; add --format pdf, which holds them all, or give \
                         a file name instead of -o -"
                    )));
                }
            }
        }
        self.list = list;
        self.check(input)
    }
}

/// The name of a page's file: its number before the ending.
fn numbered(path: &Path, page: usize) -> PathBuf {
    beside(path, &format!("-{}", page + 1), &format!(".{}", ending_of(path))).into()
}
