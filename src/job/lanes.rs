//! Many jobs side by side: as many at a time as there are threads, told in the order in which they were given.
//!
//! Each lane works on one job with threads of its own, so that what a batch holds in memory is what its lanes hold, however
//! many jobs wait. (On one pool a thread that waits inside a job would begin another, and so on down its stack.)

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Sender, channel};

use rayon::ThreadPoolBuilder;

/// What a job that broke off has said. It is a mistake of this program, and stops only that job.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a mistake of this program stopped it ({0}); the other tickets go on, please report it with this ticket")]
pub struct BrokeOff(pub String);

/// Does `work` on every item and tells of each in the order of the items, as soon as those before it are told.
pub fn in_lanes<T: Sync, R: Send>(
    items: &[T],
    work: impl Fn(&T) -> R + Sync,
    mut tell: impl FnMut(Result<R, BrokeOff>),
) {
    let threads = rayon::current_num_threads().max(1);
    let lanes = threads.min(items.len());
    let next = AtomicUsize::new(0);
    let (sender, done) = channel();
    std::thread::scope(|scope| {
        for _ in 0..lanes {
            let (sender, next, work) = (sender.clone(), &next, &work);
            scope.spawn(move || lane(threads / lanes, items, next, work, &sender));
        }
        drop(sender);
        let mut early = BTreeMap::new();
        let mut told = 0;
        for (k, ending) in done {
            early.insert(k, ending);
            while let Some(ending) = early.remove(&told) {
                tell(ending);
                told += 1;
            }
        }
    });
}

/// Takes one item after the other until none is left.
fn lane<T: Sync, R: Send>(
    threads: usize,
    items: &[T],
    next: &AtomicUsize,
    work: &(impl Fn(&T) -> R + Sync),
    done: &Sender<(usize, Result<R, BrokeOff>)>,
) {
    // Where the system gives no more threads, the common ones do.
    let own = ThreadPoolBuilder::new().num_threads(threads).build().ok();
    loop {
        let k = next.fetch_add(1, Ordering::Relaxed);
        let Some(item) = items.get(k) else { return };
        let ending = catch_unwind(AssertUnwindSafe(|| match &own {
            Some(own) => own.install(|| work(item)),
            None => work(item),
        }));
        // Nobody listens any more when the run is being given up.
        let _ = done.send((k, ending.map_err(|said| BrokeOff(words(said.as_ref())))));
    }
}

/// What a panic was about.
fn words(said: &(dyn std::any::Any + Send)) -> String {
    let text = said.downcast_ref::<&str>().map(|text| text.to_string());
    text.or_else(|| said.downcast_ref::<String>().cloned()).unwrap_or_else(|| "it did not say why".into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_are_told_in_order_and_one_that_breaks_off_stops_only_itself() {
        let items: Vec<u64> = (0..40).collect();
        let mut told = vec![];
        let work = |&k: &u64| {
            // The first of them take longest.
            std::thread::sleep(std::time::Duration::from_millis((40 - k) / 8));
            assert!(k != 7, "seven is odd");
            k * k
        };
        in_lanes(&items, work, |ending| told.push(ending));
        let expected: Vec<Result<u64, BrokeOff>> =
            items.iter().map(|&k| if k == 7 { Err(BrokeOff("seven is odd".into())) } else { Ok(k * k) }).collect();
        assert_eq!(told, expected);
    }

    #[test]
    fn nothing_is_no_work_and_one_has_all_threads() {
        in_lanes(&[] as &[u8], |_| (), |_| panic!("there is nothing to tell of"));
        let mut threads = 0;
        in_lanes(&[()], |()| rayon::current_num_threads(), |ending| threads = ending.unwrap());
        assert_eq!(threads, rayon::current_num_threads());
    }
}
