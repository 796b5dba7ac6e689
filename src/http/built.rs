//! The built page: files packed into the program by its own crate, given out as they are.
//!
//! Files under `/assets` carry a hash of their content in their names and may be kept for ever; everything else is
//! asked for anew each time. The document may load from its own origin only, and run no script and no style that
//! stands in it. Must not know what the page shows.

use super::problem::Problem;
use axum::body::Body;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use boltscribe_page::{BUILT, FILES, File};
use flate2::read::GzDecoder;
use std::io::Read;

/// What the document may do: nothing but load and ask at its own origin.
const POLICY: &str = "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; \
                      form-action 'none'; frame-ancestors 'none'";
/// A year, in seconds, as the HTTP specification advises for what never changes.
const FOR_EVER: &str = "public, max-age=31536000, immutable";

/// Whether the real page is in the program, and not the one that says how to build it.
#[must_use]
pub const fn is_built() -> bool {
    BUILT
}

/// Whatever no other path took: a file of the page, or nothing.
///
/// # Errors
/// No such file.
pub async fn file(method: Method, uri: Uri, headers: HeaderMap) -> Result<Response, Problem> {
    let asked = uri.path();
    let path = if asked.ends_with('/') { format!("{asked}index.html") } else { asked.to_owned() };
    let found = FILES.iter().find(|file| file.path == path && matches!(method, Method::GET | Method::HEAD));
    let file = found.ok_or_else(|| Problem::not_found(format!("cannot find {}", uri.path())))?;
    let wanted = headers.get(header::ACCEPT_ENCODING).and_then(|value| value.to_str().ok());
    let mut response = if wanted.is_some_and(takes_gzip) {
        let mut response = Body::from(file.gzipped).into_response();
        response.headers_mut().insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
        response
    } else {
        Body::from(unpacked(file)?).into_response()
    };
    let answer = response.headers_mut();
    answer.insert(header::CONTENT_TYPE, HeaderValue::from_static(file.kind));
    let kept = if file.lasting { FOR_EVER } else { "no-cache" };
    answer.insert(header::CACHE_CONTROL, HeaderValue::from_static(kept));
    answer.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    answer.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    Ok(response)
}

/// `gzip` is listed and not weighed down to nothing.
fn takes_gzip(list: &str) -> bool {
    list.split(',').any(|one| {
        let mut parts = one.split(';').map(str::trim);
        parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip"))
            && !parts.any(|weight| weight.strip_prefix("q=").is_some_and(|q| q.parse() == Ok(0.0)))
    })
}

fn unpacked(file: &File) -> Result<Vec<u8>, Problem> {
    let mut plain = Vec::new();
    GzDecoder::new(file.gzipped).read_to_end(&mut plain).map_err(|error| {
        let detail = format!("cannot unpack {}: {error}", file.path);
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail)
    })?;
    Ok(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn get(path: &'static str, encoding: Option<&'static str>) -> Result<Response, Problem> {
        let mut headers = HeaderMap::new();
        if let Some(encoding) = encoding {
            headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_static(encoding));
        }
        file(Method::GET, Uri::from_static(path), headers).await
    }

    async fn bytes(response: Response) -> Vec<u8> {
        axum::body::to_bytes(response.into_body(), 1 << 24).await.unwrap().to_vec()
    }

    #[tokio::test]
    async fn the_document_comes_packed_or_plain_and_is_never_kept() {
        let packed = get("/", Some("br, gzip")).await.unwrap();
        assert_eq!(packed.headers()["content-encoding"], "gzip");
        assert_eq!(packed.headers()["cache-control"], "no-cache");
        assert_eq!(packed.headers()["content-type"], "text/html; charset=utf-8");
        let plain = get("/index.html", None).await.unwrap();
        assert!(!plain.headers().contains_key("content-encoding"));
        let plain = bytes(plain).await;
        let mut unpacked = Vec::new();
        GzDecoder::new(&bytes(packed).await[..]).read_to_end(&mut unpacked).unwrap();
        assert_eq!(plain, unpacked);
        assert!(String::from_utf8(plain).unwrap().starts_with("<!doctype html>"));
    }

    #[tokio::test]
    async fn the_document_may_run_nothing_that_stands_in_it_and_load_from_nowhere_else() {
        let response = get("/", None).await.unwrap();
        let policy = response.headers()["content-security-policy"].to_str().unwrap().to_owned();
        assert!(policy.contains("default-src 'self'"));
        assert!(!policy.contains("unsafe") && !policy.contains("http"), "{policy}");
        let text = String::from_utf8(bytes(response).await).unwrap();
        assert!(!text.contains("<style") && !text.contains(" style=") && !text.contains("://"), "{text}");
    }

    #[tokio::test]
    async fn files_with_a_hash_in_their_names_are_kept_for_ever() {
        assert_eq!(FILES.iter().any(|file| file.lasting), is_built());
        for one in FILES.iter().filter(|file| file.lasting) {
            let response = get(one.path, Some("gzip")).await.unwrap();
            assert_eq!(response.headers()["cache-control"], FOR_EVER, "{}", one.path);
        }
    }

    #[tokio::test]
    async fn what_is_no_file_of_the_page_is_not_found_nor_written() {
        assert_eq!(get("/../Cargo.toml", None).await.unwrap_err().status, StatusCode::NOT_FOUND);
        let written = file(Method::POST, Uri::from_static("/"), HeaderMap::new()).await;
        assert_eq!(written.unwrap_err().status, StatusCode::NOT_FOUND);
    }

    #[test]
    fn a_client_that_will_not_have_gzip_is_told_apart() {
        assert!(takes_gzip("gzip, deflate, br") && takes_gzip("br;q=1.0, GZIP;q=0.8"));
        assert!(!takes_gzip("br, deflate") && !takes_gzip("gzip;q=0") && !takes_gzip("x-gzip-like"));
    }
}
