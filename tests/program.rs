//! Helpers for tests that run the program: a folder of its own, pictures made on the spot, what was said.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use image::{GrayImage, Luma, RgbImage};
use tempfile::TempDir;

/// A folder that goes again with the test, with the program run inside it.
pub(crate) struct Desk {
    folder: TempDir,
}

/// What a run left behind.
pub(crate) struct Outcome {
    /// Exit code.
    pub(crate) code: i32,
    /// Standard output.
    pub(crate) out: Vec<u8>,
    /// Standard error.
    pub(crate) err: String,
}

impl Desk {
    /// An empty folder.
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a temporary folder can be made") }
    }

    /// A folder that holds `picture.png`, a small scene in three tones.
    pub(crate) fn with_picture() -> Self {
        let desk = Self::new();
        scene().save(desk.path("picture.png")).expect("a picture can be saved");
        desk
    }

    /// A path in the folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file in the folder.
    pub(crate) fn put(&self, name: &str, bytes: &[u8]) {
        fs::write(self.path(name), bytes).expect("a file can be written");
    }

    /// Reads a file of the folder.
    pub(crate) fn get(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name} cannot be read: {e}"))
    }

    /// Names and bytes of everything in the folder, hidden files too.
    pub(crate) fn everything(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        contents(self.folder.path())
    }

    /// The program, to be run in the folder.
    pub(crate) fn program(&self, args: &[&str]) -> Command {
        let mut command = Command::new(program());
        command.current_dir(self.folder.path()).args(args).timeout(std::time::Duration::from_secs(120));
        command
    }

    /// Runs the program in the folder.
    pub(crate) fn run(&self, args: &[&str]) -> Outcome {
        outcome(self.program(args))
    }

    /// Runs `draw` on the small scene at a size that takes little time, with more options.
    pub(crate) fn draw(&self, more: &[&str]) -> Outcome {
        let mut args = vec!["draw", "picture.png", "--paper", "70x90mm", "--margin", "5mm"];
        args.extend(more);
        self.run(&args)
    }
}

/// The built program.
pub(crate) fn program() -> &'static Path {
    Path::new(env!("CARGO_BIN_EXE_merestone"))
}

/// Runs a command to its end.
pub(crate) fn outcome(mut command: Command) -> Outcome {
    let output = command.output().expect("the program starts");
    Outcome {
        code: output.status.code().unwrap_or(-1),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
        out: output.stdout,
    }
}

fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).expect("the folder can be listed") {
        let path = entry.expect("the folder can be listed").path();
        if path.is_dir() {
            all.extend(contents(&path));
            all.insert(path, Vec::new());
        } else {
            all.insert(path.clone(), fs::read(&path).expect("the file can be read"));
        }
    }
    all
}

/// A light ground, a dark disc that casts a middling shadow: 240 x 320 pixels.
pub(crate) fn scene() -> GrayImage {
    GrayImage::from_fn(240, 320, |x, y| {
        let (dx, dy) = (f64::from(x) - 110.0, f64::from(y) - 130.0);
        if dx * dx + dy * dy < 70.0 * 70.0 {
            Luma([40])
        } else if y > 180 && y < 260 && x > 60 {
            Luma([130])
        } else {
            Luma([235])
        }
    })
}

/// One tone all over.
pub(crate) fn flat(width: u32, height: u32, tone: u8) -> GrayImage {
    GrayImage::from_pixel(width, height, Luma([tone]))
}

/// The bytes of a picture in a format named by an ending.
pub(crate) fn encoded(picture: &GrayImage, ending: &str) -> Vec<u8> {
    let format = image::ImageFormat::from_extension(ending).expect("a known ending");
    let mut bytes = std::io::Cursor::new(Vec::new());
    let colour = RgbImage::from_fn(picture.width(), picture.height(), |x, y| {
        let tone = picture.get_pixel(x, y).0[0];
        image::Rgb([tone, tone, tone])
    });
    colour.write_to(&mut bytes, format).expect("the picture can be encoded");
    bytes.into_inner()
}
