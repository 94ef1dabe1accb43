//! Who is at work on a GPU beside the frame's thread, so that a program can wait for them before it ends.
//!
//! A driver that compiles in software is taken down by the program's exit while it still compiles, and the program with it.

use std::sync::{Arc, Condvar, Mutex, MutexGuard};

#[derive(Default)]
struct Count {
    at_work: Mutex<usize>,
    left: Condvar,
}

/// The count of those at work.
#[derive(Clone, Default)]
pub(super) struct Work(Arc<Count>);

/// Somebody is at work for as long as this is there.
pub struct AtWork(Arc<Count>);

impl Work {
    /// Somebody begins.
    pub fn begin(&self) -> AtWork {
        *lock(&self.0.at_work) += 1;
        AtWork(self.0.clone())
    }

    /// Does `job` on the pool of threads, counted from now on.
    pub fn spawn(&self, job: impl FnOnce() + Send + 'static) {
        let at_work = self.begin();
        rayon::spawn(move || {
            job();
            drop(at_work);
        });
    }

    /// Waits until nobody is at work.
    pub fn settle(&self) {
        let mut at_work = lock(&self.0.at_work);
        while *at_work > 0 {
            at_work = self.0.left.wait(at_work).unwrap_or_else(|e| e.into_inner());
        }
    }
}

impl Drop for AtWork {
    fn drop(&mut self) {
        *lock(&self.0.at_work) -= 1;
        self.0.left.notify_all();
    }
}

fn lock(count: &Mutex<usize>) -> MutexGuard<'_, usize> {
    count.lock().unwrap_or_else(|e| e.into_inner())
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    #[test]
    fn settling_waits_for_all_even_those_who_fall_over() {
        let (work, done) = (Work::default(), Arc::new(AtomicUsize::new(0)));
        for _ in 0..8 {
            let done = done.clone();
            work.spawn(move || {
                std::thread::sleep(std::time::Duration::from_millis(20));
                done.fetch_add(1, Ordering::SeqCst);
            });
        }
        let guard = work.begin();
        let fallen = std::thread::spawn(move || {
            let _guard = guard;
            std::panic::resume_unwind(Box::new("fell over"));
        });
        work.settle();
        assert_eq!(done.load(Ordering::SeqCst), 8);
        assert!(fallen.join().is_err());
    }
}
