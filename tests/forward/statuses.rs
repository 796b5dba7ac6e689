//! What each answer of a server does to the rows: kept, tried again, halved, put into quarantine, or gone.
//!
//! After each of them the server holds what the store holds, and no field ever got another value.

use crate::courier::Case;
use crate::sample::{T0_NS, put};
use crate::scripted::{Reply, Scripted};
use boltscribe::forward::Condition;
use boltscribe::store::{Correction, OutboxWrite, RunId, Write};
use std::future::Future;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

const RUNS: u32 = 6;

/// Runs a test for each at the same time: most of it is waiting.
async fn together<T, F: Future<Output = ()> + Send + 'static>(
    all: impl IntoIterator<Item = T>,
    test: impl Fn(T) -> F,
) {
    let tasks: Vec<_> = all.into_iter().map(|one| tokio::spawn(test(one))).collect();
    for task in tasks {
        task.await.unwrap();
    }
}

/// Everything is there, nothing waits, one request at a time.
async fn all_is_there(case: &Case, server: &Scripted, expected: &super::Lines) {
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    assert_eq!(&server.taken(), expected);
    assert_eq!(server.overwritten(), Vec::<String>::new());
    assert_eq!(server.inner.most_at_once.load(Ordering::SeqCst), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn any_2xx_means_taken() {
    together([200, 201, 202, 204], |status| async move {
        let server = Scripted::new(&vec![Reply::Status(status, "", ""); 9]);
        let mut case = Case::new(&server.url());
        case.add(RUNS);
        let expected = case.expected();
        assert_eq!(expected.len() as u32, 3 * RUNS, "a run with its closing, and two gates");
        case.start();
        all_is_there(&case, &server, &expected).await;
        assert_eq!((case.state().failures, case.state().condition), (0, Condition::Good), "{status}");
        assert_eq!(case.status().delivered, u64::from(2 * RUNS));
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waiting_may_mend_is_tried_again_and_nothing_is_lost() {
    let troubles = [
        Reply::Status(408, "", "slow"),
        Reply::Status(429, "retry-after: 1\r\n", "later"),
        Reply::Status(429, "retry-after: Wed, 21 Oct 2037 07:28:00 GMT\r\n", "later"),
        Reply::Status(429, "", "later"),
        Reply::Status(500, "", ""),
        Reply::Status(502, "", "<html>bad gateway</html>"),
        Reply::Status(503, "retry-after: 3600\r\n", "later"),
        Reply::Status(503, "", "later"),
        Reply::Status(504, "", ""),
        Reply::Reset,
        Reply::Raw(b""),
        Reply::Raw(b"\x00\xff\x00garbage\r\n\r\n"),
        Reply::Raw(b"HTTP/1.1 999999 no\r\n\r\n"),
        Reply::Raw(b"HTTP/1.1 204 No Con"),
        Reply::Raw(b"HTTP/1.1 500 x\r\ncontent-length: 1000\r\n\r\nhalf an ans"),
        Reply::Raw(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\nffff\r\nhalf"),
        Reply::Raw(b"SSH-2.0-something\r\n"),
    ];
    together(troubles, |trouble| async move {
        let server = Scripted::new(std::slice::from_ref(&trouble));
        let mut case = Case::new(&server.url());
        case.add(RUNS);
        let expected = case.expected();
        case.start();
        case.wait("the trouble", false, |case| case.state().failures == 1).await;
        let state = case.state();
        assert_eq!(state.condition, Condition::Retrying, "{trouble:?}: {state:?}");
        assert!(state.trouble.is_some_and(|words| !words.is_empty()), "{trouble:?}");
        assert_eq!((case.status().waiting, server.taken().len()), (u64::from(2 * RUNS), 0), "{trouble:?}");
        all_is_there(&case, &server, &expected).await;
        assert_eq!(case.events("forward-retrying").len(), 1, "{trouble:?}");
        assert_eq!(case.state().condition, Condition::Good, "{trouble:?}");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_asks_for_time_gets_it() {
    let server = Scripted::new(&[Reply::Status(429, "retry-after: 5\r\n", "later")]);
    let mut case = Case::started(&server.url(), 1);
    let began = Instant::now();
    case.wait("the second try", false, |_| server.requests() == 2).await;
    // At least half of 16 s.
    assert!(began.elapsed() >= Duration::from_secs(7), "{:?}", began.elapsed());
    case.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_person_has_to_mend_keeps_all_rows_and_raises_an_alarm() {
    let elsewhere = "location: http://127.0.0.1:1/\r\n";
    let statuses = [(401, ""), (403, ""), (404, ""), (405, ""), (302, elsewhere), (307, elsewhere)];
    together(statuses, |(status, headers)| async move {
        let server =
            Scripted::new(&[]).judged_by(move |_| Some(Reply::Status(status, headers, "who are you")));
        let mut case = Case::new(&server.url());
        case.add(RUNS);
        let expected = case.expected();
        case.start();
        case.pushed("some tries", |case| case.state().failures >= 3).await;
        assert_eq!(case.state().condition, Condition::Alarm, "{status}");
        assert_eq!(case.status().waiting, u64::from(2 * RUNS));
        assert_eq!(case.events("forward-alarm").len(), 1, "one event, not one a try");
        *server.inner_judge() = None;
        all_is_there(&case, &server, &expected).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_that_is_too_large_is_halved_until_it_passes() {
    let refused = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&refused);
    let server = Scripted::new(&[]).judged_by(move |body| {
        let too_large = body.len() > 2000;
        count.fetch_add(usize::from(too_large), Ordering::SeqCst);
        too_large.then_some(Reply::Status(413, "", "too large"))
    });
    let mut case = Case::new(&server.url());
    case.add(RUNS);
    let expected = case.expected();
    case.start();
    all_is_there(&case, &server, &expected).await;
    assert_eq!(case.status().quarantined, 0);
    let before = refused.load(Ordering::SeqCst);
    assert!(before >= 3, "{before}");
    case.add(RUNS);
    case.pushed("the next runs", |case| case.status().waiting == 0).await;
    assert_eq!(refused.load(Ordering::SeqCst), before, "the limit is remembered");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_point_goes_into_quarantine_with_its_reason_and_the_rest_is_delivered() {
    together([400, 422, 413], |status| async move {
        let bad =
            move |body: &str| body.contains(" run=3i").then_some(Reply::Status(status, "", "no\x1b[31m 3"));
        let server = Scripted::new(&[]).judged_by(bad);
        let mut case = Case::new(&server.url());
        case.add(RUNS);
        let mut expected = case.expected();
        expected.retain(|_, fields| fields["run"] != "3i");
        case.start();
        all_is_there(&case, &server, &expected).await;
        let kept = case.store.readers().reader().unwrap().quarantine(10).unwrap();
        assert_eq!(kept.iter().map(|row| row.run).collect::<Vec<_>>(), [Some(3), Some(3)], "{status}");
        assert_eq!(kept[0].reason, format!("the server answered {status}: no [31m 3"));
        assert_eq!(case.events("forward-quarantine").len(), 1);
        // Once the reason is gone, a person's word brings it there.
        *server.inner_judge() = None;
        put(&case.store, "", vec![Write::Outbox(OutboxWrite::Again(None))]);
        case.pushed("the row sent again", |case| {
            case.status().waiting == 0 && case.status().quarantined == 0
        })
        .await;
        assert_eq!(server.taken().len() as u32, 3 * RUNS);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_refuses_everything_empties_no_outbox() {
    let server = Scripted::new(&[]).judged_by(|_| Some(Reply::Status(400, "", "plain HTTP to a TLS port")));
    let mut case = Case::new(&server.url());
    case.add(RUNS);
    let expected = case.expected();
    case.start();
    case.pushed("some tries", |case| case.state().failures >= 3).await;
    assert_eq!(case.state().condition, Condition::Alarm);
    assert_eq!((case.status().waiting, case.status().quarantined), (u64::from(2 * RUNS), 0));
    *server.inner_judge() = None;
    all_is_there(&case, &server, &expected).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn corrections_and_what_was_stored_before_reach_the_server_without_changing_a_field() {
    let server = Scripted::new(&[]);
    let mut case = Case::new(&server.url());
    put(&case.store, "", vec![Write::Outbox(OutboxWrite::Forwarding(false))]);
    case.add(2);
    put(&case.store, "", vec![Write::Outbox(OutboxWrite::Forwarding(true))]);
    case.start();
    for correction in [Correction::Exclude, Correction::Restore, Correction::Exclude] {
        let word = Write::Correct {
            run: RunId(1),
            utc_ns: T0_NS,
            who: "Ana".into(),
            why: "a test".into(),
            correction,
        };
        put(&case.store, "rig-1", vec![word]);
        case.pushed("the correction", |case| case.status().waiting == 0).await;
    }
    put(&case.store, "", vec![Write::Outbox(OutboxWrite::Runs { first: 1, last: 2 })]);
    case.pushed("all of it", |case| case.status().waiting == 0).await;
    let taken = server.taken();
    let counts: Vec<&str> = taken
        .iter()
        .filter(|(key, _)| key.starts_with("boltscribe_correction"))
        .map(|(_, f)| f["counts"].as_str())
        .collect();
    assert_eq!(counts, ["0i", "1i", "0i"], "each stands beside the others");
    assert_eq!(taken.keys().filter(|key| key.starts_with("boltscribe_run,")).count(), 2);
    assert_eq!(server.overwritten(), Vec::<String>::new());
}
