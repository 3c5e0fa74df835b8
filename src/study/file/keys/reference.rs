//! What is studied.

use super::syntax::SHA256;
use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::written;

pub(super) static REFERENCE: Table = Table {
    name: "reference",
    heading: None,
    remark: "The picture that is studied",
    keys: &[
        Key::new("file", Form::File, Usual::Follows("picture.jpg"))
            .says("The picture's path, from the folder of this file", "")
            .sets(|c, t| {
                c.reference = Some(written::path(t)?);
                Ok(())
            }),
        Key::new(
            "sha256",
            Form::Written(&SHA256),
            Usual::Follows("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        )
        .says("The picture's SHA-256 as this file was written: if it changes since, you are told", "")
        .sets(|c, t| {
            c.sha256 = Some(written::sha256(t)?);
            Ok(())
        }),
    ],
};
