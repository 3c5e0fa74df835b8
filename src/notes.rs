//! Results that travel with remarks: the library never prints, it hands notes to whoever asked.

/// A result together with remarks for the person who asked for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted<T> {
    /// The result itself.
    pub value: T,
    /// One sentence each, in the order in which they arose.
    pub notes: Vec<String>,
}

impl<T> Noted<T> {
    /// A result with no remarks yet.
    #[must_use]
    pub fn new(value: T) -> Self {
        Self { value, notes: Vec::new() }
    }

    /// A result with remarks.
    #[must_use]
    pub fn with(value: T, notes: Vec<String>) -> Self {
        Self { value, notes }
    }

    /// Takes the result, leaving its remarks at the end of `notes`.
    pub fn take(self, notes: &mut Vec<String>) -> T {
        notes.extend(self.notes);
        self.value
    }
}
