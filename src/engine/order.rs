//! The shot in hand and the running order.

use super::core::Engine;
use super::document::Document;
use crate::show::Change;

/// Where the same shot stands after a change; `None` if it went.
pub(super) fn shot_after(here: usize, change: &Change) -> Option<usize> {
    Some(match change {
        Change::AddShot { at, .. } if *at <= here => here + 1,
        Change::RemoveShot { at } if *at == here => return None,
        Change::RemoveShot { at } if *at < here => here - 1,
        Change::MoveShot { from, to } => match here {
            _ if here == *from => *to,
            _ if *from < here && here <= *to => here - 1,
            _ if *to <= here && here < *from => here + 1,
            _ => here,
        },
        Change::Together(changes) => {
            return changes.iter().try_fold(here, |here, change| shot_after(here, change));
        }
        _ => here,
    })
}

impl Document {
    /// The shot in hand stays in hand where it goes.
    pub fn follow_shot(&mut self, change: &Change) {
        let to = shot_after(self.shot, change);
        self.reordered |= to != Some(self.shot);
        self.shot = to.unwrap_or(self.shot);
    }

    /// The change that moves the shot in hand so many places; none at an end of the running order.
    pub fn move_shot(&self, by: i64) -> Option<Change> {
        let last = self.show.shots.len().checked_sub(1)?;
        let to = self.shot.saturating_add_signed(by as isize).min(last);
        (to != self.shot).then_some(Change::MoveShot { from: self.shot, to })
    }
}

impl Engine {
    /// Does the frame on view stand for its shot because it was chosen?
    pub(super) fn represents(&self) -> bool {
        let shot = self.document.show.shots.get(self.document.shot);
        shot.is_some_and(|shot| shot.chosen == Some(shot.start + self.frame))
    }

    /// The change after which the frame on view stands for its shot, or where it was chosen for that already, the middle one.
    pub(super) fn represent(&self) -> Option<Change> {
        let shot = self.document.shot;
        let start = self.document.show.shots.get(shot)?.start;
        let frame = (!self.represents()).then_some(start + self.frame);
        Some(Change::SetRepresentative { shot, frame })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::ENCODINGS;
    use crate::show::{Shot, Show};

    #[test]
    fn a_shot_is_followed_wherever_it_goes() {
        let mut show = Show::new("x");
        show.shots = "abcd".chars().map(|c| Shot::new(c, c.to_string(), 0..4, &ENCODINGS[0])).collect();
        let added = Shot::new("new", "new", 0..4, &ENCODINGS[0]);
        let mut changes: Vec<Change> =
            (0..=4).map(|at| Change::AddShot { at, shot: added.clone() }).collect();
        changes.extend((0..4).map(|at| Change::RemoveShot { at }));
        changes.extend((0..16).map(|i| Change::MoveShot { from: i / 4, to: i % 4 }));
        changes.push(Change::Together(vec![
            Change::MoveShot { from: 3, to: 0 },
            Change::RemoveShot { at: 2 },
            Change::AddShot { at: 1, shot: added },
        ]));
        for change in changes {
            let mut after = show.clone();
            after.apply(change.clone()).unwrap();
            for (here, shot) in show.shots.iter().enumerate() {
                let there = after.shots.iter().position(|s| s.name == shot.name);
                assert_eq!(shot_after(here, &change), there, "{} {change:?}", shot.name);
            }
        }
    }
}
