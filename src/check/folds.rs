//! M4: does any colour change places with its neighbours, do any fall together?

use rayon::prelude::*;

use super::grey::scene_luminance;
use super::lattice::{Lattice, determinant, jacobian_at, squared_singular_values};
use super::report::{Declared, Found};
use super::{BLACK, Subject, Transform, spread, stops};
use crate::colour::acescct_encode;

const SOURCE: &str = "orientation kept means no local fold: Karaçalı and Davatzikos 2004 (from memory); tetrahedra: CLF appendix A";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "dimensions",
        measure: "M4",
        name: "Dimensions that colours spread over",
        unit: "",
        digits: 0,
        definition: "the rank of dF at 512 places from black to 6 stops over grey: singular values under 2 % of the largest count as none, and so does what at least 99 % of the places lack",
        source: "practice",
    },
    Declared {
        key: "folds",
        measure: "M4",
        name: "Folded tetrahedra",
        unit: "",
        digits: 0,
        definition: "tetrahedra of the 33³ lattice that F turns inside out: det J < −1e-9, at an eighth of the strength, two eighths, … and the whole, added up; where colours spread over one or two dimensions the whole has no inside and is not counted",
        source: SOURCE,
    },
    Declared {
        key: "collapsed",
        measure: "M4",
        name: "Flattened tetrahedra",
        unit: "%",
        digits: 2,
        definition: "tetrahedra with |det J| ≤ 1e-9 among those from black to 6 stops over grey",
        source: SOURCE,
    },
    Declared {
        key: "darkening",
        measure: "M4",
        name: "Cells that darken as light rises",
        unit: "",
        digits: 0,
        definition: "where colours spread over one or two dimensions: cells of the 33³ lattice between whose first and last corner, one step up in all three channels, luminance falls by more than 1e-9 in ACEScct",
        source: "practice",
    },
    Declared {
        key: "det-least",
        measure: "M4",
        name: "Least growth of a volume",
        unit: "×",
        digits: 3,
        definition: "the least det J from black to 6 stops over grey",
        source: SOURCE,
    },
];

/// What rounding may leave of a determinant.
const NOTHING: f64 = 1e-9;

/// The lattice that folds are looked for on, which is the one LUTs ship with.
pub(super) const SIZE: usize = 33;

/// Where the smallest volumes are.
#[derive(Clone, Debug, Default)]
pub struct Map {
    /// Cells along an edge.
    pub cells: usize,
    /// The least determinant of a cell over all depths, seen along blue, green and red: for each a square, by
    /// (red, green), (red, blue), (green, blue), the first name across.
    pub least: [Vec<f64>; 3],
    /// The same for the share of cells with a fold in them.
    pub folded: [Vec<f64>; 3],
}

/// How many dimensions colours spread over.
pub(super) fn dimensions(f: &Transform) -> usize {
    let places: Vec<f64> =
        spread(BLACK, stops(6.0), 9).take(8).map(|x| x + 0.5 * (stops(6.0) - BLACK) / 8.0).collect();
    let ranks: Vec<usize> = (0..512usize)
        .into_par_iter()
        .filter_map(|i| {
            let s = squared_singular_values(&jacobian_at(
                f,
                [places[i % 8], places[i / 8 % 8], places[i / 64]],
                1e-4,
            ));
            // What stands still there says nothing about the rest.
            (s[0] > 1e-12).then(|| s.iter().filter(|v| **v > 4e-4 * s[0]).count())
        })
        .collect();
    let most = |rank: usize| 100 * ranks.iter().filter(|r| **r <= rank).count() >= 99 * ranks.len();
    (0..3).find(|rank| most(*rank)).unwrap_or(3)
}

#[derive(Clone, Default)]
struct Sums {
    folds: usize,
    core: usize,
    collapsed: usize,
    darkening: usize,
    least: Option<f64>,
    cells: Vec<([usize; 3], f64)>,
}

fn sums(lattice: &Lattice) -> Vec<Sums> {
    let bright: Vec<f64> = lattice.values.par_iter().map(|v| acescct_encode(scene_luminance(*v))).collect();
    let n = lattice.size;
    lattice.over_cells(Sums::default, |sums, cell, js| {
        let core = lattice.within(cell, BLACK, stops(6.0));
        let first = cell[0] + cell[1] * n + cell[2] * n * n;
        let mut least = f64::INFINITY;
        for j in &js {
            let det = determinant(j);
            least = least.min(det);
            sums.folds += usize::from(det < -NOTHING);
            if core {
                sums.core += 1;
                sums.collapsed += usize::from(det.abs() <= NOTHING);
                sums.least = Some(sums.least.map_or(det, |l| l.min(det)));
            }
        }
        sums.darkening += usize::from(bright[first + 1 + n + n * n] - bright[first] < -NOTHING);
        sums.cells.push((cell, least));
    })
}

/// `lattice` is F at the strength that is checked, `dimensions` how many it has.
pub(super) fn measure(
    subject: &Subject,
    strength: f64,
    lattice: &Lattice,
    dimensions: usize,
) -> (Vec<Found>, Map) {
    let whole = sums(lattice);
    let count = |of: fn(&Sums) -> usize| whole.iter().map(of).sum::<usize>();
    let cells = lattice.size - 1;
    let squares = |start: f64| std::array::from_fn(|_| vec![start; cells * cells]);
    let mut map = Map { cells, least: squares(f64::INFINITY), folded: squares(0.0) };
    for ([r, g, b], det) in whole.iter().flat_map(|s| &s.cells) {
        for (k, (x, y)) in [(r, g), (r, b), (g, b)].into_iter().enumerate() {
            let at = y * cells + x;
            map.least[k][at] = map.least[k][at].min(*det);
            map.folded[k][at] += f64::from(u8::from(*det < -NOTHING)) / cells as f64;
        }
    }
    let flat = dimensions < 3;
    let mut folds = if flat { 0 } else { count(|s| s.folds) };
    let mut note = if folds > 0 { format!("{folds} at the whole strength") } else { String::new() };
    for eighth in 1..8 {
        let part = Lattice::of(&subject.at(strength * f64::from(eighth) / 8.0), lattice.size);
        let found: usize = sums(&part).iter().map(|s| s.folds).sum();
        if found > 0 && note.is_empty() {
            note = format!("from {eighth}/8 of the strength on");
        }
        folds += found;
    }
    if flat {
        note = format!("below the whole strength only, where colours spread over three dimensions {note}");
    }
    let core = count(|s| s.core).max(1);
    let least = whole.iter().filter_map(|s| s.least).fold(f64::INFINITY, f64::min);
    let mut found = vec![
        Found::new("dimensions", dimensions as f64),
        Found::new("folds", folds as f64).noted(note.trim_end()),
        Found::new("collapsed", 100.0 * count(|s| s.collapsed) as f64 / core as f64),
    ];
    if flat {
        found.push(Found::new("darkening", count(|s| s.darkening) as f64));
    } else {
        found.push(Found::new("det-least", least));
    }
    (found, map)
}
