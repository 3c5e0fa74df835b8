//! Marks around the picture: where they lie, what finds no room, names of squares.
