//! Tone: texture averaged away, edges kept, and the value scale.
