//! One binary for all tests that see the project from outside.

<<<<<<< HEAD
mod sheet_sizes;
mod outputs;
=======
mod reading;
mod tone_standards;
>>>>>>> reference
