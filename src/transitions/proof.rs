//! Proof that no two boundary lines meet away from their shared ends.
