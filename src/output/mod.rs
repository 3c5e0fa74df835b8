//! Output: svg, pdf, png, json.
