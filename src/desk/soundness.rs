//! Is the look on view sound? The part of the look check that is quick enough to follow a hand, on another thread.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use crate::check::{Limits, Subject, check_points};
use crate::look::{Intent, Stage};

/// What is said of the look on view.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Finding {
    /// What is past its limit: a line each. Empty: nothing that was measured.
    pub past: Vec<String>,
    /// What was not measured: a line each.
    pub notes: Vec<String>,
}

/// What a finding is about.
#[derive(Clone, Debug, PartialEq)]
struct Asked {
    stages: Vec<Stage>,
    strength: f64,
    intent: Option<Intent>,
}

/// Checks looks, one at a time, the newest next.
pub(super) struct Soundness {
    done: (Sender<Finding>, Receiver<Finding>),
    tell: Arc<dyn Fn() + Send + Sync>,
    limits: Arc<Limits>,
    asked: Option<Asked>,
    busy: bool,
    finding: Option<Finding>,
}

impl Soundness {
    /// `tell` is called from another thread when a finding is there.
    pub fn new(tell: impl Fn() + Send + Sync + 'static) -> Self {
        Self {
            done: channel(),
            tell: Arc::new(tell),
            limits: Arc::new(Limits::shipped()),
            asked: None,
            busy: false,
            finding: None,
        }
    }

    /// What was found last, which is about the look as it was some milliseconds ago; `None` before the first and where there
    /// is no stage. Begins to check `stages` at a strength if that is not what was checked last.
    pub fn of(&mut self, stages: &[Stage], strength: f64, intent: Option<Intent>) -> Option<&Finding> {
        if let Some(finding) = self.done.1.try_iter().last() {
            self.finding = Some(finding);
            self.busy = false;
        }
        let same = |a: &Asked| a.strength == strength && a.intent == intent && a.stages == stages;
        if !self.busy && !self.asked.as_ref().is_some_and(same) {
            let asked = Asked { stages: stages.to_vec(), strength, intent };
            self.asked = Some(asked.clone());
            self.busy = true;
            let (done, tell, limits) = (self.done.0.clone(), self.tell.clone(), self.limits.clone());
            rayon::spawn(move || {
                let _ = done.send(find(&asked, &limits));
                tell();
            });
        }
        self.finding.as_ref().filter(|_| !stages.is_empty())
    }
}

fn find(asked: &Asked, limits: &Limits) -> Finding {
    let subject = Subject::of_stages("", &asked.stages, asked.intent);
    let report = check_points(&subject, asked.strength, limits);
    let line = |row: &crate::check::Row| {
        let limit = row.limit.as_ref().map_or(String::new(), |l| format!(" (limit {})", l.text()));
        format!("{} {}: {}{limit}", row.declared.measure, row.declared.name, row.shown())
    };
    Finding { past: report.failures().map(line).collect(), notes: report.notes }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::look::stage;
    use std::time::Duration;

    /// Asks until there is an answer to what is asked.
    fn wait(it: &mut Soundness, told: &Receiver<()>, stages: &[Stage]) -> Finding {
        it.of(stages, 1.0, None);
        while it.busy {
            told.recv_timeout(Duration::from_secs(40)).expect("the check tells");
            it.of(stages, 1.0, None);
        }
        it.of(stages, 1.0, None).cloned().expect("a look with stages")
    }

    #[test]
    fn the_mark_follows_what_is_turned() {
        let (tell, told) = channel();
        let mut soundness = Soundness::new(move || tell.send(()).unwrap());
        assert_eq!(soundness.of(&[], 1.0, None), None);
        let mut contrast = Stage::new(stage("contrast").unwrap());
        contrast.strength = 0.5;
        let good = wait(&mut soundness, &told, &[contrast.clone()]);
        assert_eq!(good.past, Vec::<String>::new());
        // Neutrals tinted at every level: past M1's and M2's limits (configs/check.toml).
        let mut split = Stage::new(stage("split-tone").unwrap());
        for (value, parameter) in
            split.values.iter_mut().zip(stage("split-tone").unwrap().declaration().parameters)
        {
            *value = parameter.max;
        }
        split.strength = split.declaration().strength.max;
        let bad = wait(&mut soundness, &told, &[contrast.clone(), split]);
        assert!(!bad.past.is_empty() && bad.past.iter().all(|l| l.starts_with('M')), "{bad:?}");
        assert_eq!(wait(&mut soundness, &told, &[contrast]).past, Vec::<String>::new());
    }
}
