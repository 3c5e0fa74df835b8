//! Paths and costs of placing in texture, against every path and known borders.

use super::*;
use proptest::prelude::*;

const LAYERS: usize = 2;

/// Least cost over all paths, tried one by one.
fn least_of_all(costs: &[Vec<f64>], apart: &[f64], price: &Price) -> f64 {
    let (n, k) = (costs.len(), costs[0].len());
    let mut best = f64::INFINITY;
    for code in 0..k.pow(n as u32) {
        let path: Vec<usize> = (0..n).map(|i| code / k.pow(i as u32) % k).collect();
        best = best.min(cost_of(&path, costs, apart, price));
    }
    best
}

/// Cost of a path of states, layer by layer.
fn cost_of(path: &[usize], costs: &[Vec<f64>], apart: &[f64], price: &Price) -> f64 {
    let (n, k) = (costs.len(), costs[0].len() / price.layers);
    let own: f64 = (0..n).map(|i| costs[i][path[i]] * apart[i]).sum();
    let moves = (0..n - 1).map(|i| {
        let [a, b] = [path[i], path[i + 1]];
        let step = (a % k).abs_diff(b % k);
        if a / k != b / k {
            if step == 0 { price.change } else { f64::INFINITY }
        } else if step > MOST_STEPS {
            f64::INFINITY
        } else {
            price.bending / apart[i] * (step * step) as f64
        }
    });
    own + moves.sum::<f64>()
}

proptest! {
    /// No path costs less, tried against every path there is (open lines; a closed one is held below).
    #[test]
    fn the_path_is_the_best_of_all(
        cells in proptest::collection::vec(0.0_f64..1.0, 36),
        bending in 0.0_f64..0.5,
        change in 0.0_f64..0.5,
    ) {
        let costs: Vec<Vec<f64>> = cells.chunks(6).map(<[f64]>::to_vec).collect();
        let apart = [1.0, 0.5, 0.8, 1.0, 0.7, 1.2];
        let price = Price { bending, change, layers: LAYERS };
        let got: Vec<usize> =
            least_bending(&costs, &apart, false, &price).into_iter().map(|(o, l)| l * 3 + o).collect();
        let (cost, least) = (cost_of(&got, &costs, &apart, &price), least_of_all(&costs, &apart, &price));
        prop_assert!((cost - least).abs() < 1e-12, "{cost} is more than {least}");
    }
}

/// A closed line fits together where it was begun: turned round, it is the same line.
#[test]
fn a_closed_line_does_not_know_where_it_began() {
    let n = 40;
    let cost = |i: usize| -> Vec<f64> {
        let middle = 5.0 + 3.0 * (std::f64::consts::TAU * i as f64 / n as f64).sin();
        (0..11).map(|k| (f64::from(k) - middle).powi(2)).collect()
    };
    let apart = vec![1.0; n];
    let whole: Vec<Vec<f64>> = (0..n).map(cost).collect();
    let price = Price { bending: 0.5, change: 0.0, layers: 1 };
    let got = least_bending(&whole, &apart, true, &price);
    for turn in [1, 7, 20] {
        let turned: Vec<Vec<f64>> = (0..n).map(|i| cost((i + turn) % n)).collect();
        let other = least_bending(&turned, &apart, true, &price);
        assert!((0..n).all(|i| other[i] == got[(i + turn) % n]), "begun {turn} points on it is another line");
    }
}

/// What is expected where each side has its tone everywhere.
fn even_sides(tones: [f64; 2], count: usize) -> Expected {
    let variance = 0.5 * tones.map(|t| t * (1.0 - t)).iter().sum::<f64>();
    Expected { by_side: vec![tones; count], variance: variance.max(0.0125), strokes: false }
}

/// Ink strokes across a border: the two tones divide them where the strokes end, not where a mean half fades.
#[test]
fn strokes_are_divided_where_they_end() {
    let side = Side { left: 1, right: 2, left_lighter: true, level: 60.0, by_hand: false };
    // Right of the border every second sample is ink, left of it none.
    for border in [6_usize, 9, 12] {
        let samples: Vec<[f64; 2]> =
            (0..20).map(|k| [if k < border && k % 2 == 0 { 0.0 } else { 1.0 }; 2]).collect();
        let even = even_sides([0.5, 1.0], 20);
        let cost = costs(&samples, [Some(0.5), Some(1.0)], &side, Some(&even), 1.0, &[], 0.0);
        let least = (0..20).min_by(|&a, &b| cost[a].total_cmp(&cost[b])).expect("there are twenty");
        assert!(least.abs_diff(border) <= 1, "the border at {border} was put at {least}");
    }
}

/// A dark line on a border: without it the border is put on its light side, with it in its middle.
#[test]
fn a_border_runs_in_the_middle_of_its_holding_line() {
    let side = Side { left: 1, right: 2, left_lighter: true, level: 60.0, by_hand: false };
    // Tones 0.5 and 0.9, five samples of ink between them about sample 10.
    let samples: Vec<[f64; 2]> = (0..21)
        .map(|k: i32| {
            [if (k - 10).abs() <= 2 {
                0.0
            } else if k < 10 {
                0.5
            } else {
                0.9
            }; 2]
        })
        .collect();
    let cost =
        costs(&samples, [Some(0.5), Some(0.9)], &side, Some(&even_sides([0.5, 0.9], 21)), 0.0, &[2], 0.0);
    let least = |from: usize| {
        (0..21).min_by(|&a, &b| cost[from + a].total_cmp(&cost[from + b])).expect("there are 21")
    };
    assert!(least(0) >= 12, "without a line the ink counts as the darker side");
    assert_eq!(least(21), 10, "with a line the border is its middle");
    assert!(cost[21 + 10] < cost[least(0)], "the line explains the ink");
}

/// A stroke that lies along the end of hatching beside bare paper is no holding line; a line between two light tones is. In
/// quarters of a variance by hand: 0.44 mm of 0.05 in 0.35 is worth 0.44 (0.09 - 0) / (4 * 0.12) = 0.08 a mm at most, and a line is
/// asked for 0.2; 0.44 mm of ink in 0.6 to 0.9 is worth 0.44 (0.36 to 0.81) / (4 * 0.165), 0.24 to 0.54.
#[test]
fn strokes_along_a_border_are_no_holding_line() {
    const PER_MM: f64 = 0.0625;
    let side = Side { left: 1, right: 2, left_lighter: true, level: 80.0, by_hand: false };
    // Whether a line seven samples wide, right of the border at 20 or in its middle, is worth what it costs.
    let pays = |tones: [f64; 2], ink: f64, from: i32| {
        let tone = |k: i32| if k < 20 { tones[0] } else { tones[1] };
        let samples: Vec<[f64; 2]> =
            (0..41).map(|k| [if (from..from + 7).contains(&k) { ink } else { tone(k) }; 2]).collect();
        let even = even_sides(tones, 41);
        let costs =
            costs(&samples, tones.map(Some), &side, Some(&even), 1.0, &[3], LINES_ASKED.line / PER_MM);
        let least = |of: &[f64]| of.iter().copied().fold(f64::INFINITY, f64::min);
        least(&costs[41..]) < least(&costs[..41])
    };
    assert!(!pays([0.35, 1.0], 0.05, 13), "the stroke is a line");
    assert!(pays([0.6, 0.9], 0.0, 17), "the line is not seen");
}

/// What is near is near along the line, round a closed one as well.
#[test]
fn near_goes_round_closed_lines() {
    let of = |at: &[usize]| -> Vec<bool> { (0..10).map(|i| at.contains(&i)).collect() };
    assert_eq!(near(&of(&[1, 6]), 2, false), of(&[0, 1, 2, 3, 4, 5, 6, 7, 8]));
    assert_eq!(near(&of(&[1]), 2, true), of(&[9, 0, 1, 2, 3]));
    assert_eq!(near(&of(&[]), 3, true), of(&[]));
    assert_eq!(near(&of(&[5]), 100, false), vec![true; 10]);
    assert_eq!(near(&of(&[5]), 100, true), vec![true; 10]);
}
