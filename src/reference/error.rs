//! Why a reference could not be read.

use std::io;

use thiserror::Error;

/// Why a reference could not be read. Every text names the file and says what to do.
#[derive(Debug, Error)]
pub enum ReferenceError {
    /// There is nothing at that path.
    #[error("{name}: there is no such file; check the spelling and the folder")]
    Missing {
        /// The file as it was named.
        name: String,
    },
    /// The path leads to a folder.
    #[error("{name} is a folder, not a picture; name one file in it")]
    Directory {
        /// The folder as it was named.
        name: String,
    },
    /// The system would not let the file be read.
    #[error("{name} cannot be read: {source}")]
    Unreadable {
        /// The file as it was named.
        name: String,
        /// What the system said.
        source: io::Error,
    },
    /// The file holds no bytes.
    #[error("{name} is empty; was it copied or downloaded completely?")]
    Empty {
        /// The file as it was named.
        name: String,
    },
    /// The first bytes belong to none of the formats read here.
    #[error("{name} is not a JPEG, PNG, TIFF, WebP, BMP or GIF picture; convert it to one of these first")]
    NotAPicture {
        /// The file as it was named.
        name: String,
    },
    /// More bytes than any picture within the limit can need.
    #[error(
        "{name} is larger than {mebibytes} MiB, more than a picture of {max_megapixels} megapixels needs; \
         if you trust it, raise the limit with --max-megapixels"
    )]
    FileTooLarge {
        /// The file as it was named.
        name: String,
        /// The most that is read, in MiB.
        mebibytes: u64,
        /// The limit in force, in megapixels.
        max_megapixels: f64,
    },
    /// The header announces more pixels than the limit allows.
    #[error(
        "{name} is {width} x {height} pixels, over the limit of {max_megapixels} megapixels; \
         if you trust the file, raise it with --max-megapixels {needed}"
    )]
    TooManyPixels {
        /// The file as it was named.
        name: String,
        /// Pixels across.
        width: u64,
        /// Pixels down.
        height: u64,
        /// The limit in force, in megapixels.
        max_megapixels: f64,
        /// The limit that would let it pass, in megapixels.
        needed: u64,
    },
    /// The file stops before the picture does.
    #[error("{name} ends in the middle of its {format} picture; copy or download it again")]
    Truncated {
        /// The file as it was named.
        name: String,
        /// The format, such as "PNG".
        format: &'static str,
    },
    /// The bytes break the format's own rules.
    #[error("{name} is a damaged {format} picture ({detail}); save it again from a program that opens it")]
    Damaged {
        /// The file as it was named.
        name: String,
        /// The format, such as "PNG".
        format: &'static str,
        /// What the decoder said.
        detail: String,
    },
    /// A sound picture of a kind that is not read.
    #[error(
        "{name} is a {format} picture of a kind that is not read ({detail}); save it as an ordinary 8 or 16 bit one"
    )]
    Unsupported {
        /// The file as it was named.
        name: String,
        /// The format, such as "PNG".
        format: &'static str,
        /// What is not read.
        detail: String,
    },
    /// Printing inks without a usable description of them: the tones cannot be known.
    #[error(
        "{name} holds CMYK printing inks {reason}, so its tones cannot be known; \
         save it as RGB or greyscale, or with its CMYK profile embedded"
    )]
    UnknownInks {
        /// The file as it was named.
        name: String,
        /// "without a colour profile", or what is wrong with the one there is.
        reason: String,
    },
    /// The limit itself makes no sense.
    #[error("a limit of {max_megapixels} megapixels makes no sense; it has to be a number above 0")]
    BadLimit {
        /// What was asked for.
        max_megapixels: f64,
    },
}

/// What a decoder found wrong, before anyone has named the file.
#[derive(Debug)]
pub(super) enum Fault {
    /// See [`ReferenceError::TooManyPixels`].
    TooManyPixels { width: u64, height: u64 },
    /// See [`ReferenceError::Truncated`].
    Truncated,
    /// See [`ReferenceError::Damaged`].
    Damaged(String),
    /// See [`ReferenceError::Unsupported`].
    Unsupported(String),
    /// See [`ReferenceError::UnknownInks`].
    UnknownInks(String),
}

impl Fault {
    /// The same fault with the names that a reader needs.
    pub(super) fn named(self, name: &str, format: &'static str, max_megapixels: f64) -> ReferenceError {
        let name = name.to_owned();
        match self {
            Self::TooManyPixels { width, height } => {
                let pixels = u128::from(width) * u128::from(height);
                let needed = u64::try_from(pixels.div_ceil(1_000_000)).unwrap_or(u64::MAX);
                ReferenceError::TooManyPixels { name, width, height, max_megapixels, needed }
            }
            Self::Truncated => ReferenceError::Truncated { name, format },
            Self::Damaged(detail) => ReferenceError::Damaged { name, format, detail: one_line(&detail) },
            Self::Unsupported(detail) => {
                ReferenceError::Unsupported { name, format, detail: one_line(&detail) }
            }
            Self::UnknownInks(reason) => ReferenceError::UnknownInks { name, reason },
        }
    }
}

impl From<image::ImageError> for Fault {
    fn from(error: image::ImageError) -> Self {
        match error {
            image::ImageError::IoError(e) => e.into(),
            image::ImageError::Unsupported(e) => Self::Unsupported(e.to_string()),
            other => from_text(other.to_string()),
        }
    }
}

impl From<io::Error> for Fault {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::UnexpectedEof {
            Self::Truncated
        } else {
            from_text(error.to_string())
        }
    }
}

/// Decoders wrap "the bytes ran out" in texts of their own: bring them back to one fault.
fn from_text(text: String) -> Fault {
    let lower = text.to_ascii_lowercase();
    let ran_out = ["unexpected end", "unexpectedeof", "failed to fill whole buffer", "unexpected eof"];
    if ran_out.iter().any(|t| lower.contains(t)) { Fault::Truncated } else { Fault::Damaged(text) }
}

/// A decoder's text as part of one sentence: no line breaks, no full stop, not endless.
fn one_line(text: &str) -> String {
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let short: String = joined.chars().filter(|c| !c.is_control()).take(160).collect();
    short.trim_end_matches('.').to_owned()
}
