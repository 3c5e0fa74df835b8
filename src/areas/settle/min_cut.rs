//! The cheapest division of a grid into two: maximum flow by two growing trees (Boykov & Kolmogorov 2004).
//!
//! Prices are whole numbers and places are taken in a fixed order, so the same grid is always divided alike.

use std::collections::VecDeque;

/// Neighbours of a place as steps along and down; each odd one leads back from the one before it.
pub(super) const WAYS: [[isize; 2]; 8] =
    [[1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, -1], [-1, 1], [1, -1]];

/// Not in a tree.
const LOOSE: u8 = 0;
/// In the tree of the one side, in that of the other.
const ONE: u8 = 1;
const OTHER: u8 = 2;
/// Parents that are no neighbours.
const TERMINAL: u8 = 8;
const ORPHAN: u8 = 9;

/// A grid to be divided, each place with its eight neighbours.
pub(super) struct Grid {
    /// Places in a row and their steps in memory; a row and a column of strangers lie around.
    across: usize,
    steps: [isize; 8],
    /// What is left to flow to each neighbour.
    left: Vec<[i32; 8]>,
    /// What is left to flow from the one side (above 0) or to the other (below).
    terminal: Vec<i32>,
    tree: Vec<u8>,
    parent: Vec<u8>,
    /// When a place's way to its terminal was last looked at, and how long it was.
    seen: Vec<u32>,
    length: Vec<u32>,
    now: u32,
    active: VecDeque<u32>,
    waiting: Vec<bool>,
    orphans: VecDeque<u32>,
}

impl Grid {
    /// A grid of free places, none of which costs anything.
    pub(super) fn new(width: usize, height: usize) -> Self {
        let across = width + 2;
        let n = across * (height + 2);
        Self {
            across,
            steps: WAYS.map(|[x, y]| x + y * across as isize),
            left: vec![[0; 8]; n],
            terminal: vec![0; n],
            tree: vec![LOOSE; n],
            parent: vec![ORPHAN; n],
            seen: vec![0; n],
            length: vec![0; n],
            now: 0,
            active: VecDeque::new(),
            waiting: vec![false; n],
            orphans: VecDeque::new(),
        }
    }

    fn place(&self, x: usize, y: usize) -> usize {
        (y + 1) * self.across + x + 1
    }

    fn beside(&self, place: usize, way: usize) -> usize {
        place.wrapping_add_signed(self.steps[way])
    }

    /// Adds to what a place costs on the other side; below 0 on the one side.
    pub(super) fn prefer(&mut self, x: usize, y: usize, price: i32) {
        let place = self.place(x, y);
        self.terminal[place] += price;
    }

    /// What it costs to part a place from its neighbour on a way; paid once, whichever of them lies on the one side.
    pub(super) fn part(&mut self, x: usize, y: usize, way: usize, price: i32) {
        let place = self.place(x, y);
        let beside = self.beside(place, way);
        self.left[place][way] = price;
        self.left[beside][way ^ 1] = price;
    }

    /// Divides the grid: by place, row by row, whether it lies on the one side. What may lie on both is on the other.
    pub(super) fn divide(mut self) -> Vec<bool> {
        for place in 0..self.terminal.len() {
            if self.terminal[place] != 0 {
                self.tree[place] = if self.terminal[place] > 0 { ONE } else { OTHER };
                self.parent[place] = TERMINAL;
                self.wake(place);
            }
        }
        while let Some(place) = self.active.front().map(|&p| p as usize) {
            if self.tree[place] != LOOSE
                && let Some((way, beside)) = self.grow(place)
            {
                self.now += 1;
                self.push(place, way, beside);
                self.adopt();
                continue;
            }
            self.active.pop_front();
            self.waiting[place] = false;
        }
        let (w, h) = (self.across - 2, self.terminal.len() / self.across - 2);
        (0..w * h).map(|i| self.tree[self.place(i % w, i / w)] == ONE).collect()
    }

    fn wake(&mut self, place: usize) {
        if !self.waiting[place] {
            self.waiting[place] = true;
            self.active.push_back(place as u32);
        }
    }

    /// What is left to flow between a place of a tree and its neighbour, away from the tree's terminal.
    fn outward(&self, place: usize, way: usize, beside: usize) -> i32 {
        if self.tree[place] == ONE { self.left[place][way] } else { self.left[beside][way ^ 1] }
    }

    /// Grows the tree of a place to its neighbours; the first neighbour in the other tree that is met, and the way there.
    fn grow(&mut self, place: usize) -> Option<(usize, usize)> {
        for way in 0..8 {
            let beside = self.beside(place, way);
            if self.outward(place, way, beside) <= 0 {
                continue;
            }
            if self.tree[beside] == LOOSE {
                self.tree[beside] = self.tree[place];
                self.parent[beside] = (way ^ 1) as u8;
                self.seen[beside] = self.seen[place];
                self.length[beside] = self.length[place] + 1;
                self.wake(beside);
            } else if self.tree[beside] != self.tree[place] {
                return Some((way, beside));
            } else if self.seen[beside] <= self.seen[place] && self.length[beside] > self.length[place] + 1 {
                self.parent[beside] = (way ^ 1) as u8;
                self.seen[beside] = self.seen[place];
                self.length[beside] = self.length[place] + 1;
            }
        }
        None
    }

    /// Lets as much flow through the two trees by way of one pair of neighbours as can.
    fn push(&mut self, place: usize, way: usize, beside: usize) {
        let (one, to, other) =
            if self.tree[place] == ONE { (place, way, beside) } else { (beside, way ^ 1, place) };
        let mut most = self.left[one][to];
        let mut at = one;
        while self.parent[at] != TERMINAL {
            let up = self.parent[at] as usize;
            at = self.beside(at, up);
            most = most.min(self.left[at][up ^ 1]);
        }
        most = most.min(self.terminal[at]);
        at = other;
        while self.parent[at] != TERMINAL {
            let up = self.parent[at] as usize;
            most = most.min(self.left[at][up]);
            at = self.beside(at, up);
        }
        most = most.min(-self.terminal[at]);

        self.flow(one, to, other, most);
        at = one;
        while self.parent[at] != TERMINAL {
            let up = self.parent[at] as usize;
            let from = self.beside(at, up);
            if self.flow(from, up ^ 1, at, most) {
                self.leave(at);
            }
            at = from;
        }
        self.terminal[at] -= most;
        if self.terminal[at] == 0 {
            self.leave(at);
        }
        at = other;
        while self.parent[at] != TERMINAL {
            let up = self.parent[at] as usize;
            let to = self.beside(at, up);
            if self.flow(at, up, to, most) {
                self.leave(at);
            }
            at = to;
        }
        self.terminal[at] += most;
        if self.terminal[at] == 0 {
            self.leave(at);
        }
    }

    /// Lets some flow from a place to its neighbour; whether nothing more can.
    fn flow(&mut self, from: usize, way: usize, to: usize, some: i32) -> bool {
        self.left[from][way] -= some;
        self.left[to][way ^ 1] += some;
        self.left[from][way] == 0
    }

    fn leave(&mut self, place: usize) {
        self.parent[place] = ORPHAN;
        self.orphans.push_front(place as u32);
    }

    /// Finds new parents for those that lost theirs, or lets them go.
    fn adopt(&mut self) {
        while let Some(orphan) = self.orphans.pop_front() {
            let orphan = orphan as usize;
            let mut best: Option<(u32, usize)> = None;
            for way in 0..8 {
                let beside = self.beside(orphan, way);
                if self.tree[beside] != self.tree[orphan] || self.outward(beside, way ^ 1, orphan) <= 0 {
                    continue;
                }
                if let Some(length) = self.rooted(beside)
                    && best.is_none_or(|(least, _)| length < least)
                {
                    best = Some((length, way));
                }
            }
            if let Some((length, way)) = best {
                self.parent[orphan] = way as u8;
                self.seen[orphan] = self.now;
                self.length[orphan] = length + 1;
                continue;
            }
            for way in 0..8 {
                let beside = self.beside(orphan, way);
                if self.tree[beside] != self.tree[orphan] {
                    continue;
                }
                if self.outward(beside, way ^ 1, orphan) > 0 {
                    self.wake(beside);
                }
                if self.parent[beside] as usize == way ^ 1 {
                    self.parent[beside] = ORPHAN;
                    self.orphans.push_back(beside as u32);
                }
            }
            self.tree[orphan] = LOOSE;
        }
    }

    /// How far a place is from its tree's terminal, if it still hangs on it.
    fn rooted(&mut self, place: usize) -> Option<u32> {
        let mut at = place;
        let mut length = 0;
        loop {
            if self.seen[at] == self.now {
                length += self.length[at];
                break;
            }
            match self.parent[at] {
                TERMINAL => {
                    self.seen[at] = self.now;
                    self.length[at] = 0;
                    break;
                }
                ORPHAN => return None,
                up => {
                    length += 1;
                    at = self.beside(at, up as usize);
                }
            }
        }
        let (mut at, mut left) = (place, length);
        while self.seen[at] != self.now {
            self.seen[at] = self.now;
            self.length[at] = left;
            left -= 1;
            at = self.beside(at, self.parent[at] as usize);
        }
        Some(length)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// No other division of a small grid is cheaper: all of them are tried.
        #[test]
        fn no_division_is_cheaper(
            w in 1_usize..5, h in 1_usize..4,
            liking in proptest::collection::vec(-9_i32..10, 12), parting in proptest::collection::vec(0_i32..9, 48),
        ) {
            let mut grid = Grid::new(w, h);
            let mut pairs = Vec::new();
            for (y, x) in (0..h).flat_map(|y| (0..w).map(move |x| (y, x))) {
                grid.prefer(x, y, liking[y * w + x]);
                for (k, way) in [0, 2, 4, 6].into_iter().enumerate() {
                    let [p, q] = [x as isize + WAYS[way][0], y as isize + WAYS[way][1]];
                    if (0..w as isize).contains(&p) && q < h as isize {
                        let price = parting[(y * w + x) * 4 + k];
                        grid.part(x, y, way, price);
                        pairs.push((y * w + x, q as usize * w + p as usize, price));
                    }
                }
            }
            let price = |one: &dyn Fn(usize) -> bool| -> i32 {
                let alone: i32 = (0..w * h).map(|i| if one(i) { -liking[i].min(0) } else { liking[i].max(0) }).sum();
                alone + pairs.iter().filter(|&&(a, b, _)| one(a) != one(b)).map(|p| p.2).sum::<i32>()
            };
            let found = grid.divide();
            let found = price(&|i| found[i]);
            let least = (0_u32..1 << (w * h)).map(|all| price(&|i| all >> i & 1 == 1)).min();
            prop_assert_eq!(Some(found), least);
        }
    }
}
