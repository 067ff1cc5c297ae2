//! Serves a desk to the browser of its own computer. Every answer is kept from other sites and from caches; no path of
//! a request reaches a file.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State as Given};
use axum::http::header::{
    ALLOW, CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HOST, HeaderMap, HeaderName, HeaderValue, ORIGIN,
    REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{Response, StatusCode};
use rayon::ThreadPoolBuilder;
use serde::{Deserialize, Serialize};
use tokio::net::TcpListener;
use tokio::sync::{Notify, watch};
use tokio::task::spawn_blocking;
use tokio::time::{sleep, timeout};

use super::guard::{Asked, Guard, Verdict};
use super::told::Ask;
use super::work::{Desk, Refusal};
use crate::draw::DrawError;

/// Longest body that is read, bytes: the longest reason with every sign escaped is under 8 kB.
const LONGEST_BODY: usize = 32 << 10;
/// Whoever sends a body slower than this is not the page.
const SLOWEST_BODY: Duration = Duration::from_secs(10);
/// The page asks again after so long without news.
const LONGEST_WAIT: Duration = Duration::from_secs(20);
/// How often the file is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// A state that stands this long is worth working out to the end.
const STANDS: Duration = Duration::from_millis(300);
/// Threads that answer; drawing and designing have their own.
const THREADS: usize = 2;
/// Random bytes in the token: as many as a key of 256 bits.
const TOKEN_BYTES: usize = 32;

/// Where the desk is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Address {
    /// What to open in a browser.
    pub url: String,
}

/// Why a desk could not be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The port is taken, or may not be had.
    #[error("127.0.0.1:{port} cannot be had: {source}; another --port, or none for a free one")]
    Port {
        /// Which.
        port: u16,
        /// What the system says.
        source: std::io::Error,
    },
    /// The system gives no threads or no random numbers.
    #[error("the desk cannot be set up: {0}")]
    System(String),
}

/// Serves the desk on 127.0.0.1 until the program is asked to end (Ctrl-C), and gives it back. A port of 0 is any free
/// one. `told` is told where the desk is once it answers.
pub fn serve(desk: Desk, port: u16, told: impl FnOnce(&Address)) -> Result<Desk, ServeError> {
    let system = |error: &dyn std::fmt::Display| ServeError::System(error.to_string());
    let mut builder = tokio::runtime::Builder::new_multi_thread();
    let runtime = builder.worker_threads(THREADS).enable_all().build().map_err(|e| system(&e))?;
    let token = token().map_err(|e| system(&e))?;
    let shared = runtime.block_on(async {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
        let taken = |source| ServeError::Port { port, source };
        let listener = TcpListener::bind(address).await.map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        let url = format!("http://127.0.0.1:{port}/{token}/");
        let shared = Arc::new(Shared {
            news: watch::Sender::new(desk.news()),
            desk: Mutex::new(desk),
            guard: Guard::new(port, token),
            design: Notify::new(),
        });
        let router = Router::new().fallback(answer).with_state(shared.clone());
        tokio::spawn(keep_looking(shared.clone()));
        tokio::spawn(keep_settling(shared.clone()));
        told(&Address { url });
        tokio::select! {
            ended = axum::serve(listener, router) => ended.map_err(|e| system(&e))?,
            // Without a way to hear Ctrl-C the system ends the program itself.
            _ = tokio::signal::ctrl_c() => {}
        }
        Ok(shared)
    })?;
    // A save that is under way is let finish; it is whole or not there at any moment.
    runtime.shutdown_timeout(Duration::from_secs(2));
    let shared = Arc::into_inner(shared).ok_or_else(|| system(&"something is still running"))?;
    Ok(shared.desk.into_inner().unwrap_or_else(PoisonError::into_inner))
}

fn token() -> Result<String, getrandom::Error> {
    let mut bytes = [0_u8; TOKEN_BYTES];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    }))
}

/// What every request sees.
struct Shared {
    desk: Mutex<Desk>,
    guard: Guard,
    news: watch::Sender<u64>,
    /// Told when there is another design.
    design: Notify,
}

impl Shared {
    /// The desk. One that failed in the middle of a request has not been changed by it: changes are its last step.
    fn desk(&self) -> MutexGuard<'_, Desk> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, news: u64) {
        self.news.send_if_modified(|told| std::mem::replace(told, news) != news);
    }
}

async fn answer(Given(shared): Given<Arc<Shared>>, request: Request) -> Response<Body> {
    match shared.guard.judge(&asked(&request)) {
        Verdict::Refused(status, why) => refusal(status, why),
        Verdict::Page => {
            let page = on_desk(shared, |shared| shared.desk().page().map_err(undrawn)).await;
            page.map_or_else(|no| refusal(no.status, &no.words), |page| html(page.html, &page.policy))
        }
        Verdict::Word(word) => {
            let told = told(shared, &word, request).await;
            told.unwrap_or_else(|no| refusal(no.status, &no.words))
        }
    }
}

/// What the guard looks at. A header that stands twice is taken for none that is right.
fn asked(request: &Request) -> Asked<'_> {
    let headers = request.headers();
    let path = if request.uri().authority().is_some() { "" } else { request.uri().path() };
    Asked {
        method: request.method().as_str(),
        path,
        host: single(headers, HOST),
        origin: single(headers, ORIGIN),
        site: single(headers, HeaderName::from_static("sec-fetch-site")),
        content: single(headers, CONTENT_TYPE),
    }
}

fn single(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    let mut all = headers.get_all(name).iter();
    let first = all.next()?;
    Some(if all.next().is_some() { "" } else { first.to_str().unwrap_or("") })
}

/// A request of the page.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Doing {
    /// The shapes that the page has.
    have: BTreeMap<char, u64>,
    ask: Ask,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Waiting {
    have: BTreeMap<char, u64>,
    /// What the page was told last.
    news: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Drawing {}

async fn told(shared: Arc<Shared>, word: &str, request: Request) -> Result<Response<Body>, Refusal> {
    match word {
        "ask" => {
            let Doing { have, ask } = body(request).await?;
            on_desk(shared, move |shared| {
                let mut desk = shared.desk();
                let done = desk.ask(ask);
                shared.tell(desk.news());
                shared.design.notify_one();
                done?;
                json(&desk.state(&have).map_err(undrawn)?)
            })
            .await
        }
        "wait" => {
            let Waiting { have, news } = body(request).await?;
            let mut told = shared.news.subscribe();
            // Without news the page is told what it knows.
            let _ = timeout(LONGEST_WAIT, told.wait_for(|now| *now != news)).await;
            on_desk(shared, move |shared| json(&shared.desk().state(&have).map_err(undrawn)?)).await
        }
        "drawing" => {
            let Drawing {} = body(request).await?;
            on_desk(shared, |shared| {
                let (now, saved) = shared.desk().designs();
                json(&Desk::drawing(&now, &saved).map_err(undrawn)?)
            })
            .await
        }
        _ => Err(Refusal { status: 404, words: "the desk knows no such word".into() }),
    }
}

/// Works on the desk without holding up other requests.
async fn on_desk<T: Send + 'static>(
    shared: Arc<Shared>,
    work: impl FnOnce(&Shared) -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = spawn_blocking(move || work(&shared)).await;
    done.unwrap_or_else(|_| Err(Refusal { status: 500, words: "this could not be worked out; nothing changed".into() }))
}

async fn body<T: for<'a> Deserialize<'a>>(request: Request) -> Result<T, Refusal> {
    let refused = |status, words: String| Refusal { status, words };
    let read = timeout(SLOWEST_BODY, to_bytes(request.into_body(), LONGEST_BODY)).await;
    let read = read.map_err(|_| refused(408, "the request took too long".into()))?;
    let bytes = read.map_err(|_| refused(413, format!("a request has at most {LONGEST_BODY} bytes")))?;
    serde_json::from_slice(&bytes).map_err(|error| refused(400, format!("not understood: {error}")))
}

fn undrawn(error: DrawError) -> Refusal {
    Refusal { status: 500, words: error.to_string() }
}

fn json(document: &impl Serialize) -> Result<Response<Body>, Refusal> {
    let text = serde_json::to_string(document).map_err(|e| Refusal { status: 500, words: e.to_string() })?;
    Ok(response(StatusCode::OK, "application/json", text, NOTHING))
}

fn refusal(status: u16, words: &str) -> Response<Body> {
    let status = StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let text = serde_json::json!({ "error": words }).to_string();
    let mut answer = response(status, "application/json", text, NOTHING);
    if status == StatusCode::METHOD_NOT_ALLOWED {
        answer.headers_mut().insert(ALLOW, HeaderValue::from_static("GET, POST"));
    }
    answer
}

/// What may act in an answer that is no page.
const NOTHING: &str = "default-src 'none'; frame-ancestors 'none'";

fn html(page: String, policy: &str) -> Response<Body> {
    response(StatusCode::OK, "text/html; charset=utf-8", page, &format!("{policy}; frame-ancestors 'none'"))
}

fn response(status: StatusCode, kind: &'static str, text: String, policy: &str) -> Response<Body> {
    let mut response = Response::new(Body::from(text));
    *response.status_mut() = status;
    let headers = response.headers_mut();
    let fixed = [
        (CONTENT_TYPE, kind),
        (CACHE_CONTROL, "no-store"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        (REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // A policy is made of plain signs; one that were not would let nothing act.
    let policy = HeaderValue::from_str(policy).unwrap_or(HeaderValue::from_static(NOTHING));
    headers.insert(CONTENT_SECURITY_POLICY, policy);
    response
}

/// Looks at the file, as long as the desk is served.
async fn keep_looking(shared: Arc<Shared>) {
    loop {
        sleep(LOOK_EVERY).await;
        let _ = on_desk(shared.clone(), |shared| {
            let mut desk = shared.desk();
            if desk.look() {
                shared.tell(desk.news());
            }
            Ok(())
        })
        .await;
    }
}

/// Works out the slower part of a design once it stands, on a thread of its own, so that the next change need not wait
/// for it.
async fn keep_settling(shared: Arc<Shared>) {
    let number = |shared: &Shared| shared.desk().unsettled().map(|(number, _)| number);
    loop {
        let Some(first) = number(&shared) else {
            shared.design.notified().await;
            continue;
        };
        sleep(STANDS).await;
        if number(&shared) != Some(first) {
            continue;
        }
        let _ = on_desk(shared.clone(), |shared| {
            let Some((number, live)) = shared.desk().unsettled() else { return Ok(()) };
            let alone = ThreadPoolBuilder::new().num_threads(1).build();
            let live = match alone {
                Ok(pool) => pool.install(|| live.settle()),
                Err(_) => live.settle(),
            };
            let mut desk = shared.desk();
            desk.settled(number, live);
            shared.tell(desk.news());
            Ok(())
        })
        .await;
    }
}
