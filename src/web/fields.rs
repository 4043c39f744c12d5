//! The fields of a form, and whether it came from our own pages.

use axum::RequestExt as _;
use axum::extract::{Form, FromRequest, Multipart, Request};
use axum::http::header::{CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{HeaderMap, StatusCode};

use super::respond::Denied;

/// Octets of a form without a file at most: 16 KiB.
pub const FORM_MAX_OCTETS: usize = 16 * 1024;
/// Fields of a form looked at, at most.
const FIELDS_MAX: usize = 512;

/// The fields of a posted form in order; a name may come more than once.
pub(super) struct Fields(pub Vec<(String, String)>);

impl Fields {
    /// The first value of a name; empty if there is none.
    pub fn first(&self, name: &str) -> &str {
        self.0.iter().find(|(n, _)| n == name).map_or("", |(_, value)| value.as_str())
    }

    /// Every value of a name, in order.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(n, _)| n == name).map(|(_, value)| value.as_str())
    }
}

/// Whether a body is `multipart/form-data`.
pub(super) fn is_multipart(headers: &HeaderMap) -> bool {
    let kind = headers.get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    kind.trim_start().to_ascii_lowercase().starts_with("multipart/form-data")
}

/// What a body that could not be read means to its sender.
pub(super) fn unread(status: StatusCode) -> Denied {
    if status == StatusCode::PAYLOAD_TOO_LARGE { Denied::TooLarge } else { Denied::BadForm }
}

impl<T: Send + Sync> FromRequest<T> for Fields {
    type Rejection = Denied;

    async fn from_request(request: Request, _: &T) -> Result<Fields, Denied> {
        let mut fields = Vec::new();
        if is_multipart(request.headers()) {
            let mut parts: Multipart = request.extract().await.map_err(|_| Denied::BadForm)?;
            while let Some(part) = parts.next_field().await.map_err(|fault| unread(fault.status()))? {
                if fields.len() == FIELDS_MAX {
                    return Err(Denied::TooLarge);
                }
                let name = part.name().unwrap_or_default().to_owned();
                fields.push((name, part.text().await.map_err(|fault| unread(fault.status()))?));
            }
        } else {
            let Form(read): Form<Vec<(String, String)>> = request
                .extract()
                .await
                .map_err(|fault: axum::extract::rejection::FormRejection| unread(fault.status()))?;
            if read.len() > FIELDS_MAX {
                return Err(Denied::TooLarge);
            }
            fields = read;
        }
        Ok(Fields(fields))
    }
}

/// Whether a browser says that a form was posted from another site than this one. Our pages send their origin
/// (Fetch Standard, "origin of a request": under the policy `same-origin` it is `null` only across sites); clients that are no browsers send neither header.
pub(super) fn is_foreign(headers: &HeaderMap, base_url: &str) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    if text("sec-fetch-site").is_some_and(|site| site == "cross-site") {
        return true;
    }
    let Some(origin) = text(ORIGIN.as_str()) else { return false };
    let place = |url: &str| url.split_once("://").map(|(_, rest)| rest.trim_end_matches('/').to_owned());
    let own = [place(base_url), text(HOST.as_str()).map(str::to_owned)];
    let given = place(origin);
    given.is_none() || !own.contains(&given)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &'static str)]) -> HeaderMap {
        pairs.iter().map(|(n, v)| (n.parse().unwrap(), v.parse().unwrap())).collect()
    }

    #[test]
    fn only_our_own_origin_is_not_foreign() {
        let base = "https://larkmoor.example";
        let foreign = |pairs: &[(&'static str, &'static str)]| is_foreign(&headers(pairs), base);
        assert!(!foreign(&[]));
        assert!(!foreign(&[("origin", "https://larkmoor.example")]));
        assert!(!foreign(&[("origin", "http://127.0.0.1:8420"), ("host", "127.0.0.1:8420")]));
        assert!(foreign(&[("origin", "https://elsewhere.example"), ("host", "larkmoor.example")]));
        assert!(foreign(&[("origin", "null"), ("host", "larkmoor.example")]));
        assert!(foreign(&[("sec-fetch-site", "cross-site"), ("origin", "https://larkmoor.example")]));
    }
}
