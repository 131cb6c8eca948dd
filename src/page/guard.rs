//! Who may speak to the page at all, asked before anything is routed.
//!
//! *Host*: only addresses in numbers, or `localhost`, and only this port. A name could be bound anew to this machine by
//! whoever owns it (rebinding); a number cannot. *Origin*: if a browser names one it is this page's own. A request that
//! changes something must name one, and must be JSON, which no form of another site can send.

use std::net::{IpAddr, SocketAddr};

use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, header};

/// Why a request is not heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Foreign {
    Host,
    Origin,
    Kind,
}

impl Foreign {
    pub(super) fn words(self) -> &'static str {
        match self {
            Foreign::Host => "this page answers only under its own address, in numbers or as localhost",
            Foreign::Origin => "this page answers only to itself, not to other sites",
            Foreign::Kind => "a request of type application/json was wanted",
        }
    }
}

/// Whether a request may be heard.
pub(super) fn check(own: SocketAddr, method: &Method, headers: &HeaderMap) -> Result<(), Foreign> {
    let host = only(headers, &header::HOST).ok_or(Foreign::Host)?;
    if !is_own(own, host) {
        return Err(Foreign::Host);
    }
    if let Some(origin) = headers.get(header::ORIGIN)
        && origin.to_str().ok().and_then(|origin| origin.strip_prefix("http://")) != Some(host)
    {
        return Err(Foreign::Origin);
    }
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    if !matches!(site, None | Some(b"same-origin" | b"none")) && !is_visit(headers) {
        return Err(Foreign::Origin);
    }
    if matches!(*method, Method::GET | Method::HEAD) {
        return Ok(());
    }
    if !headers.contains_key(header::ORIGIN) {
        return Err(Foreign::Origin);
    }
    let kind = only(headers, &header::CONTENT_TYPE).unwrap_or_default();
    if kind.split(';').next().map(str::trim) == Some("application/json") { Ok(()) } else { Err(Foreign::Kind) }
}

/// A person who follows a link to the page from elsewhere, as against a site that asks behind that person's back.
fn is_visit(headers: &HeaderMap) -> bool {
    let says = |name: &str, value: &str| headers.get(name).is_some_and(|found| found.as_bytes() == value.as_bytes());
    says("sec-fetch-mode", "navigate") && says("sec-fetch-dest", "document")
}

fn is_own(own: SocketAddr, host: &str) -> bool {
    let (name, port) = match host.rsplit_once(':') {
        Some((name, port)) if !port.contains(']') => match port.parse::<u16>() {
            Ok(port) => (name, port),
            Err(_) => return false,
        },
        _ => (host, 80),
    };
    if port != own.port() {
        return false;
    }
    let number = name.strip_prefix('[').and_then(|name| name.strip_suffix(']')).unwrap_or(name);
    match number.parse::<IpAddr>() {
        Ok(ip) => own.ip().is_unspecified() || ip == own.ip(),
        Err(_) => name == "localhost" && (own.ip().is_loopback() || own.ip().is_unspecified()),
    }
}

/// The value of a header that stands there once.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut all = headers.get_all(name).iter();
    let first = all.next()?;
    if all.next().is_some() { None } else { first.to_str().ok() }
}

/// What each answer carries: nothing is loaded from elsewhere, no script stands in a page, nobody frames it.
pub(super) const ALWAYS: &[(&str, &str)] = &[
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(own: &str, method: Method, headers: &[(&'static str, &str)]) -> Result<(), Foreign> {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(*name, value.parse().unwrap());
        }
        check(own.parse().unwrap(), &method, &map)
    }

    #[test]
    fn a_name_that_could_be_rebound_is_no_host() {
        let here = "127.0.0.1:8790";
        for host in ["127.0.0.1:8790", "localhost:8790"] {
            assert_eq!(asked(here, Method::GET, &[("host", host)]), Ok(()), "{host}");
        }
        for host in ["example.org:8790", "127.0.0.1", "127.0.0.1:80", "10.0.0.1:8790", "localhost.example.org:8790", ""]
        {
            assert_eq!(asked(here, Method::GET, &[("host", host)]), Err(Foreign::Host), "{host}");
        }
        assert_eq!(asked(here, Method::GET, &[]), Err(Foreign::Host));
        let twice = [("host", here), ("host", "example.org")];
        assert_eq!(asked(here, Method::GET, &twice), Err(Foreign::Host));
        assert_eq!(asked("[::1]:90", Method::GET, &[("host", "[::1]:90")]), Ok(()));
        assert_eq!(asked("0.0.0.0:90", Method::GET, &[("host", "192.168.1.5:90")]), Ok(()));
        assert_eq!(asked("0.0.0.0:90", Method::GET, &[("host", "example.org:90")]), Err(Foreign::Host));
    }

    #[test]
    fn another_site_is_not_heard_and_a_form_cannot_speak() {
        let (here, host) = ("127.0.0.1:8790", ("host", "127.0.0.1:8790"));
        let own = ("origin", "http://127.0.0.1:8790");
        let json = ("content-type", "application/json");
        assert_eq!(asked(here, Method::POST, &[host, own, json]), Ok(()));
        assert_eq!(asked(here, Method::POST, &[host, json]), Err(Foreign::Origin));
        assert_eq!(asked(here, Method::POST, &[host, own, ("content-type", "text/plain")]), Err(Foreign::Kind));
        for origin in ["http://example.org", "null", "https://127.0.0.1:8790", "http://127.0.0.1:8791"] {
            assert_eq!(asked(here, Method::GET, &[host, ("origin", origin)]), Err(Foreign::Origin), "{origin}");
        }
        let behind = [host, ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "no-cors")];
        assert_eq!(asked(here, Method::GET, &behind), Err(Foreign::Origin));
        let visit =
            [host, ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "navigate"), ("sec-fetch-dest", "document")];
        assert_eq!(asked(here, Method::GET, &visit), Ok(()));
    }
}
