//! What is open on the light path, and what is in hand, goes with its stage wherever that goes.

use std::collections::HashSet;

use super::Panes;
use crate::engine::Snapshot;
use crate::look::{Chain, List, Stage};

/// Where each stage of a list stands in the list that came after it: one that is the same in every number first, then
/// one of its kind, each the nearest to its old place. `None` for one that went.
fn places(before: &[Stage], now: &[Stage]) -> Vec<Option<usize>> {
    let mut to = vec![None; before.len()];
    let mut free = vec![true; now.len()];
    let same = [|a: &Stage, b: &Stage| a == b, |a: &Stage, b: &Stage| a.kind == b.kind];
    for same in same {
        for (from, stage) in before.iter().enumerate() {
            let fits = (0..now.len()).filter(|at| to[from].is_none() && free[*at] && same(stage, &now[*at]));
            if let Some(at) = fits.min_by_key(|at| at.abs_diff(from)) {
                (to[from], free[at]) = (Some(at), false);
            }
        }
    }
    to
}

/// The key or address of a stage, `look/2` or `look/2/strength`, where that stage is now; others as they are.
fn moved(key: &str, before: &Chain, now: &Chain) -> Option<String> {
    let mut parts = key.splitn(3, '/');
    let (list, at, rest) = (parts.next(), parts.next(), parts.next());
    let list = List::ALL.into_iter().find(|l| Some(l.key()) == list);
    let at = at.and_then(|at| at.parse::<usize>().ok()).and_then(|at| at.checked_sub(1));
    let Some((list, at)) = list.zip(at) else { return Some(key.to_owned()) };
    let to = *places(before.list(list), now.list(list)).get(at)?;
    Some(match rest {
        Some(rest) => format!("{}/{}/{rest}", list.key(), to? + 1),
        None => format!("{}/{}", list.key(), to? + 1),
    })
}

impl Panes {
    /// Follows the stages of the show on view since the frame before.
    pub(super) fn follow_stages(&mut self, s: &Snapshot) {
        if let Some(before) = self.drawn_show.replace(s.show.clone())
            && !std::sync::Arc::ptr_eq(&before, &s.show)
            && kinds(&before.chain) != kinds(&s.show.chain)
        {
            let (before, now) = (&before.chain, &s.show.chain);
            self.open = self.open.iter().filter_map(|key| moved(key, before, now)).collect::<HashSet<_>>();
            if let Some(address) = moved(&self.in_hand, before, now) {
                self.in_hand = address.into();
            }
        }
    }
}

/// Equal when no stage came, went or changed places with one that differs from it.
fn kinds(chain: &Chain) -> Vec<(List, &[Stage])> {
    List::ALL.into_iter().map(|list| (list, &chain.list(list)[..])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::look::stage;

    #[test]
    fn a_stage_is_found_where_it_went() {
        let new = |key: &str, strength: f64| Stage { strength, ..Stage::new(stage(key).unwrap()) };
        let before: Vec<Stage> =
            vec![new("contrast", 1.0), new("saturation", 1.0), new("contrast", 0.5), new("grain", 1.0)];
        let find = |now: &[Stage]| places(&before, now);
        assert_eq!(find(&before), [0, 1, 2, 3].map(Some));
        // Changed places, one taken out, one put in, a value turned.
        let mut now = before.clone();
        now.swap(0, 2);
        assert_eq!(find(&now), [2, 1, 0, 3].map(Some));
        now.remove(1);
        assert_eq!(find(&now), [Some(1), None, Some(0), Some(2)]);
        let mut now = before.clone();
        now.insert(1, new("curves", 1.0));
        now[0].strength = 0.25;
        assert_eq!(find(&now), [0, 2, 3, 4].map(Some));
        // Twins in every number keep their order.
        let twins = vec![new("contrast", 1.0), new("contrast", 1.0)];
        assert_eq!(places(&twins, &twins[..1]), [Some(0), None]);
        assert_eq!(find(&[]), [None; 4]);
    }
}
