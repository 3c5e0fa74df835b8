//! Tones as the artist has decided: where an edit gives an area another value than its tone has, that value's tone.

use crate::colour::reflectance;
use crate::plan::key_values;
use crate::raster::Raster;
use crate::tone::ToneField;

/// The tones with those of edited areas moved into the values that they are drawn in: what lies beyond its value's band gets the
/// L* of the value's mean reflectance, as on the key.
pub(super) fn decided(tone: &ToneField, values: &Raster<u8>, edited: &Raster<bool>) -> ToneField {
    let key = key_values(values, &tone.reflectance, &tone.scale);
    let mut decided = tone.clone();
    for (i, (&value, &edited)) in values.data().iter().zip(edited.data()).enumerate() {
        if !edited || tone.scale.value(tone.lightness.data()[i]) == value {
            continue;
        }
        let lightness = key[usize::from(value) - 1].lightness;
        let light = reflectance(lightness) as f32;
        decided.lightness.data_mut()[i] = lightness as f32;
        decided.reflectance.data_mut()[i] = light;
        decided.fine.data_mut()[i] = light;
    }
    decided
}
