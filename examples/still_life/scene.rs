//! The still life: its forms as distances, its light, and what a ray of sight meets.
//!
//! The forms are found by walking along a ray in steps that no surface can be nearer than (sphere tracing,
//! Hart 1996). Everything is shaded in linear light, and shadows are hard.

use crate::vector::{V3, soft_min, step, v};

/// What a ray can meet. A box has three visible faces, each its own thing to the hatching hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Thing {
    Nothing,
    Wall,
    Table,
    Cloth,
    Bottle,
    Ball,
    Cone,
    BlockTop,
    BlockFront,
    BlockSide,
    Egg,
    Cup,
    CupInside,
}

impl Thing {
    /// Whether strokes on it are straight, and so can keep one distance throughout.
    pub(crate) fn is_flat(self) -> bool {
        matches!(self, Self::Wall | Self::Table | Self::BlockTop | Self::BlockFront | Self::BlockSide)
    }
}

/// What the eye gets from one ray.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    pub(crate) thing: Thing,
    /// Reflected light, 0 black to 1 paper.
    pub(crate) light: f64,
    /// Direction on the picture (x right, y down) in which the form is hatched.
    pub(crate) along: [f64; 2],
}

/// Where the eye is, what it looks at, and half the width it sees there, in scene units.
const EYE: V3 = v(0.25, 3.9, 11.5);
const AIM: V3 = v(0.1, 1.78, 0.0);
const HALF_WIDTH: f64 = 3.05;

/// The lamp, and the weak second light behind the dark bottle.
const LAMP: V3 = v(-8.4, 10.6, 7.4);
const BACK_LIGHT: V3 = v(0.86, 0.22, -0.46);
/// Light from all round on a surface that faces up; one that faces down gets `1 - 2 * AMBIENT_LEAN` of it.
const AMBIENT: f64 = 0.19;
const AMBIENT_LEAN: f64 = 0.3;
const TABLE_ALBEDO: f64 = 0.6;

const WALL_Z: f64 = -2.3;
const BOTTLE: V3 = v(1.2, 0.0, -0.55);
const BALL: V3 = v(-0.55, 0.66, 0.75);
const CONE: V3 = v(-1.75, 0.08, -0.35);
const BLOCK: V3 = v(1.95, 0.36, 1.1);
const BLOCK_HALF: V3 = v(0.62, 0.36, 0.5);
const BLOCK_TURN: f64 = 0.62;
const EGG: V3 = v(0.42, 0.33, 2.05);
const CUP: V3 = v(-1.72, 0.05, 1.5);

/// The cloth hangs from a nail above the picture; its folds run out from there.
const NAIL: V3 = v(-0.75, 6.4, -1.75);

/// How far along the cloth from the nail, and at what angle from straight down.
fn on_cloth(p: V3) -> (f64, f64) {
    let down = (NAIL.y - p.y).max(0.4);
    let out = (p.z - NAIL.z - 0.3).max(0.0);
    let s = down + out;
    (s, ((p.x - NAIL.x) / s).atan())
}

/// Height of the folds at a place on the cloth: round ridges, narrow valleys, a few of each size.
fn folds(s: f64, angle: f64) -> f64 {
    let lean = angle + 0.035 * (0.9 * s).sin();
    let ridge = |phase: f64| 1.0 - (1.0 - (phase.cos() * phase.cos())).powi(2);
    let wide = ridge(9.5 * lean + 0.5);
    let narrow = ridge(19.0 * lean + 1.3 + 0.25 * s);
    let grow = step(0.3, 5.5, s);
    let rest = (-(s - 6.2).max(0.0) * 0.62).exp();
    (0.36 * wide + 0.11 * narrow * step(2.0, 5.0, s)) * grow * rest
}

fn cloth(p: V3) -> f64 {
    let (s, angle) = on_cloth(p);
    let f = folds(s, angle);
    let shape = soft_min(p.z - (NAIL.z + 0.1 + f), p.y - (0.03 + 0.8 * f), 0.7);
    let shell = shape.abs() - 0.014;
    let hem = (angle - 0.235 + 0.065 * step(6.6, 9.4, s) - 0.025 * (1.7 * s).sin()) * s;
    let front = p.z - (2.45 + 0.18 * (1.9 * p.x + 0.6).sin() + 0.2 * p.x);
    shell.max(hem).max(front) * 0.62
}

fn bottle(p: V3) -> f64 {
    let q = p - BOTTLE;
    let r = (q.x * q.x + q.z * q.z).sqrt();
    let ball = |r: f64, y: f64, low: f64, high: f64, radius: f64| {
        let dy = y - y.clamp(low, high);
        (r * r + dy * dy).sqrt() - radius
    };
    // The belly is an arc turned about the upright, 0.8 at its widest.
    let body = (f64::hypot(r + 1.5, q.y - 1.02) - 2.3).max(-q.y);
    let neck = ball(r, q.y, 1.9, 3.1, 0.2).max(q.y - 3.22);
    let lip = ((r - 0.22).powi(2) + (q.y - 3.2).powi(2)).sqrt() - 0.085;
    soft_min(soft_min(body, neck, 0.75), lip, 0.06)
}

fn cone(p: V3) -> f64 {
    let q = p - CONE;
    let r = (q.x * q.x + q.z * q.z).sqrt();
    let (radius, height) = (0.66, 1.95);
    let slant = f64::hypot(radius, height);
    ((r * height + (q.y - height) * radius) / slant).max(-q.y)
}

fn block(p: V3) -> f64 {
    let q = (p - BLOCK).turned(-BLOCK_TURN);
    let d = v(q.x.abs(), q.y.abs(), q.z.abs()) - BLOCK_HALF;
    v(d.x.max(0.0), d.y.max(0.0), d.z.max(0.0)).len() + d.x.max(d.y).max(d.z).min(0.0)
}

fn egg(p: V3) -> f64 {
    let q = (p - EGG).turned(0.5);
    // The pointed end lies to the left.
    let taper = 1.0 + 0.24 * (q.x / 0.46).clamp(-1.3, 1.3);
    let e = v(q.x / 0.47, q.y / (0.335 * taper.sqrt()), q.z / (0.335 * taper.sqrt()));
    let k = e.len();
    (k - 1.0) * 0.3 / k.clamp(0.6, 1.6)
}

fn cup(p: V3) -> (f64, bool) {
    let q = p - CUP;
    let r = (q.x * q.x + q.z * q.z).sqrt();
    let flare = 0.43 + 0.07 * (q.y / 0.9).powi(2);
    let outer = (r - flare).max(-q.y).max(q.y - 0.92);
    let inner = (r - flare + 0.06).max(0.1 - q.y);
    (outer.max(-inner) * 0.95, -inner > outer - 0.012)
}

/// Distance to the nearest thing, never more than the true one.
fn nearest(p: V3) -> (f64, Thing) {
    let mut best = (p.z - WALL_Z, Thing::Wall);
    let mut take = |d: f64, thing: Thing| {
        if d < best.0 {
            best = (d, thing);
        }
    };
    take(p.y, Thing::Table);
    take(cloth(p), Thing::Cloth);
    take(bottle(p), Thing::Bottle);
    take((p - BALL).len() - 0.64, Thing::Ball);
    take(cone(p), Thing::Cone);
    take(block(p), Thing::BlockTop);
    take(egg(p), Thing::Egg);
    let (d, inside) = cup(p);
    take(d, if inside { Thing::CupInside } else { Thing::Cup });
    best
}

fn walk(from: V3, along: V3, far: f64) -> Option<(V3, Thing)> {
    let mut t = 0.0;
    for _ in 0..260 {
        let p = from + along * t;
        let (d, thing) = nearest(p);
        if d < 0.000_6 {
            return Some((p, thing));
        }
        t += d;
        if t > far {
            return None;
        }
    }
    None
}

fn normal(p: V3) -> V3 {
    let h = 0.002;
    let d = |q: V3| nearest(q).0;
    v(
        d(p + v(h, 0.0, 0.0)) - d(p - v(h, 0.0, 0.0)),
        d(p + v(0.0, h, 0.0)) - d(p - v(0.0, h, 0.0)),
        d(p + v(0.0, 0.0, h)) - d(p - v(0.0, 0.0, h)),
    )
    .unit()
}

/// Share of light each thing gives back.
fn albedo(thing: Thing) -> f64 {
    match thing {
        Thing::Nothing => 0.0,
        Thing::Wall => 0.56,
        Thing::Table => TABLE_ALBEDO,
        Thing::Cloth => 0.92,
        Thing::Bottle => 0.05,
        Thing::Ball => 0.62,
        Thing::Cone => 0.86,
        Thing::BlockTop => 0.8,
        // The dark side is as light as the table in the block's own shadow: no line is due between them.
        Thing::BlockFront | Thing::BlockSide => TABLE_ALBEDO / (1.0 - AMBIENT_LEAN),
        Thing::Egg => 0.95,
        Thing::Cup | Thing::CupInside => 0.4,
    }
}

fn light(p: V3, n: V3, thing: Thing, sight: V3) -> f64 {
    let to_lamp = LAMP - p;
    let l = to_lamp.unit();
    let faces = n.dot(l).max(0.0);
    let start = p + n * 0.006;
    let lit = faces > 0.0 && walk(start, l, to_lamp.len()).is_none();
    // The lamp's light falls off with distance and with the angle to where it is aimed.
    let aimed = (AIM - LAMP).unit();
    let fall = (AIM - LAMP).len() / to_lamp.len();
    let beam = step(0.80, 0.97, -l.dot(aimed));
    let key = if lit { 1.06 * faces * fall * fall * (0.25 + 0.75 * beam) } else { 0.0 };
    let ambient = AMBIENT * (1.0 - AMBIENT_LEAN + AMBIENT_LEAN * n.y);
    let mut out = albedo(thing) * (key + ambient);
    if thing == Thing::Bottle {
        let back = n.dot(BACK_LIGHT.unit()).max(0.0);
        let edge = step(0.46, 0.8, 1.0 + sight.dot(n));
        out += 1.5 * step(0.25, 0.6, back) * edge;
        if lit {
            // The glaze: a broad sheen and a small gleam where it mirrors the lamp.
            let mirror = n.dot((l - sight).unit()).max(0.0);
            out += 0.5 * mirror.powi(11) + 0.95 * step(0.968, 0.988, mirror);
        }
    }
    out.clamp(0.0, 1.0)
}

/// The way the hand follows each form: round it, or along its plane.
fn along(n: V3, thing: Thing) -> V3 {
    let round = |axis: V3| n.cross(axis.unit());
    let towards = |aim: V3| aim - n * n.dot(aim);
    match thing {
        Thing::Wall => v(0.62, 0.78, 0.0),
        Thing::Table => v(1.0, 0.0, 0.16),
        Thing::Cloth => towards(v(1.0, -0.12, -0.22)),
        Thing::Ball => towards(v(0.62, 0.77, -0.14)),
        Thing::Egg => round(v(0.9, 0.12, 0.45)),
        Thing::Bottle | Thing::Cone | Thing::Cup | Thing::CupInside => round(v(0.0, 1.0, 0.02)),
        Thing::BlockTop => v(1.0, 0.0, 0.0).turned(BLOCK_TURN),
        Thing::BlockFront => v(0.75, 0.66, 0.0).turned(BLOCK_TURN),
        Thing::BlockSide => v(0.0, 0.75, 0.66).turned(BLOCK_TURN),
        Thing::Nothing => v(1.0, 0.0, 0.0),
    }
}

/// The eye: turns places on the picture into rays and points in space into places.
pub(crate) struct Eye {
    right: V3,
    up: V3,
    ahead: V3,
    aspect: f64,
}

impl Eye {
    /// For a picture `aspect` times as high as wide.
    pub(crate) fn new(aspect: f64) -> Self {
        let ahead = (AIM - EYE).unit();
        let right = ahead.cross(v(0.0, 1.0, 0.0)).unit();
        Self { right, up: right.cross(ahead), ahead, aspect }
    }

    fn place(&self, p: V3) -> [f64; 2] {
        let q = p - EYE;
        let depth = q.dot(self.ahead);
        [q.dot(self.right) / depth, -q.dot(self.up) / depth]
    }

    /// What is seen at `x`, `y`: shares of the picture's width and height from its top left.
    pub(crate) fn look(&self, x: f64, y: f64) -> Seen {
        let reach = HALF_WIDTH / (AIM - EYE).len();
        let (sx, sy) = ((2.0 * x - 1.0) * reach, (1.0 - 2.0 * y) * reach * self.aspect);
        let sight = (self.ahead + self.right * sx + self.up * sy).unit();
        let Some((p, mut thing)) = walk(EYE, sight, 40.0) else {
            return Seen { thing: Thing::Nothing, light: 0.0, along: [1.0, 0.0] };
        };
        let n = normal(p);
        if thing == Thing::BlockTop {
            let m = n.turned(-BLOCK_TURN);
            if m.z > 0.7 {
                thing = Thing::BlockFront;
            } else if m.x.abs() > 0.7 {
                thing = Thing::BlockSide;
            }
        }
        let t = along(n, thing).unit();
        let (a, b) = (self.place(p - t * 0.01), self.place(p + t * 0.01));
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let len = f64::hypot(dx, dy);
        let along = if len > 1e-6 { [dx / len, dy / len] } else { [1.0, 0.0] };
        Seen { thing, light: light(p, n, thing, sight), along }
    }
}
