//! Hands out tasks to threads, each when those before it are finished. It must not know what a task is.

use crate::command::Failure;
use crate::graph::{Node, producers};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// Calls `work` for every task after those before it, on `jobs` threads, this one among them. Stops handing out when `cancel` is set or
/// `work` fails; what is running then ends by itself.
///
/// # Errors
/// The first failure of `work`.
pub fn run(
    nodes: &[Node<'_>],
    jobs: usize,
    cancel: &AtomicBool,
    work: impl Fn(usize) -> Result<(), Failure> + Sync,
) -> Result<(), Failure> {
    let waiting: Vec<usize> = nodes.iter().map(|node| producers(&node.inputs).len()).collect();
    let ready = (0..nodes.len()).filter(|at| waiting[*at] == 0).collect();
    let queue =
        Queue { state: Mutex::new(State { waiting, ready, running: 0, failure: None }), changed: Condvar::new() };
    let worker = || {
        while let Some(at) = queue.next(cancel) {
            let result = work(at);
            queue.finished(at, nodes, result);
        }
    };
    std::thread::scope(|scope| {
        (1..jobs.min(nodes.len())).for_each(|_| drop(scope.spawn(worker)));
        // This thread is one of them: memory that a thread gave back is hardly of use to another one.
        worker();
    });
    let state = queue.state.into_inner().unwrap_or_else(PoisonError::into_inner);
    state.failure.map_or(Ok(()), Err)
}

struct Queue {
    state: Mutex<State>,
    changed: Condvar,
}

struct State {
    /// For each task how many before it are not finished.
    waiting: Vec<usize>,
    ready: BTreeSet<usize>,
    running: usize,
    failure: Option<Failure>,
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn next(&self, cancel: &AtomicBool) -> Option<usize> {
        let mut state = self.lock();
        loop {
            if cancel.load(Ordering::Relaxed) || state.failure.is_some() {
                return None;
            }
            if let Some(at) = state.ready.pop_first() {
                state.running += 1;
                return Some(at);
            }
            if state.running == 0 {
                return None;
            }
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn finished(&self, at: usize, nodes: &[Node<'_>], result: Result<(), Failure>) {
        let mut state = self.lock();
        state.running -= 1;
        for user in &nodes[at].users {
            state.waiting[*user] -= 1;
            if state.waiting[*user] == 0 {
                state.ready.insert(*user);
            }
        }
        if let Err(failure) = result {
            state.failure.get_or_insert(failure);
        }
        self.changed.notify_all();
    }
}
