//! Strokes: broken soft lines, chaining, order.
