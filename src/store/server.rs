//! The way to a PostgreSQL server: how it is protected, and whether anybody answers there.

use super::db::database;
use crate::service::ports::{StoreFault, is_this_host};
use sqlx::PgPool;
use sqlx::postgres::{PgConnectOptions, PgSslMode};
use sqlx::{ConnectOptions as _, Connection as _};
use std::time::Duration;

/// A server has to answer within so long, at the start and later, seconds.
const REACH_SECONDS: u64 = 5;
/// A connection that is free, or a new one, has to be had within so long: then the server is away, or all are in use.
pub(super) const CONNECTION_WAIT: Duration = Duration::from_secs(REACH_SECONDS);

/// How the way to a server is protected, as its users say it (`sslmode`). Where nothing is said it is not encrypted on this
/// host, and to any other the server has to prove its name; what would be silently in the clear is refused.
pub(super) fn private(options: PgConnectOptions, url: &str) -> Result<PgConnectOptions, StoreFault> {
    let host = options.get_host().to_owned();
    let here = options.get_socket().is_some() || host.starts_with('/') || is_this_host(&host);
    let said = url.contains("sslmode=") || url.contains("ssl-mode=");
    Ok(match (here, said, options.get_ssl_mode()) {
        (true, false, _) => options.ssl_mode(PgSslMode::Disable),
        (false, false, _) => options.ssl_mode(PgSslMode::VerifyFull),
        (false, true, PgSslMode::Allow | PgSslMode::Prefer) => {
            return Err(StoreFault::Refused(format!(
                "the store address asks for an sslmode that falls back to no encryption on the way to {host}; \
                 write sslmode=verify-full, or sslmode=disable if the network is your own"
            )));
        }
        (false, true, PgSslMode::Require) => {
            tracing::warn!(
                host,
                "sslmode=require encrypts but takes any certificate; verify-full also checks who answers"
            );
            options
        }
        _ => options,
    })
}

/// Whether the server answers at all, with the name of the host and the cause where it does not.
pub(super) async fn reach(options: &PgConnectOptions) -> Result<(), StoreFault> {
    let asked = tokio::time::timeout(Duration::from_secs(REACH_SECONDS), options.connect()).await;
    let why = match asked {
        Ok(Ok(connection)) => {
            let _ = connection.close().await;
            return Ok(());
        }
        Ok(Err(fault)) => fault.to_string(),
        Err(_) => format!("no answer within {REACH_SECONDS} seconds"),
    };
    let host = options.get_host();
    let (port, database) = (options.get_port(), options.get_database().unwrap_or("-"));
    Err(StoreFault::Database(format!(
        "the database {database} at {host}, port {port}, cannot be reached: {why}"
    )))
}

/// A fault of the driver as ours; where it only waited for a connection, whether the server is away, and why.
pub(super) async fn fault(pool: &PgPool, error: sqlx::Error) -> StoreFault {
    if matches!(error, sqlx::Error::PoolTimedOut)
        && let Err(away) = reach(&pool.connect_options()).await
    {
        return away;
    }
    database(error)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr as _;

    /// The mode a store address leads to; none where it is refused.
    fn mode(url: &str) -> Option<String> {
        let options = PgConnectOptions::from_str(url).unwrap();
        private(options, url).ok().map(|options| format!("{:?}", options.get_ssl_mode()))
    }

    // libpq's meaning of sslmode: PostgreSQL documentation, "SSL Support", table "SSL Mode Descriptions".
    #[test]
    fn another_host_has_to_prove_its_name_unless_somebody_says_otherwise() {
        for (url, expected) in [
            ("postgres://a:b@db.example.org/x", Some("VerifyFull")),
            ("postgres://a:b@db.example.org/x?sslmode=verify-ca", Some("VerifyCa")),
            ("postgres://a:b@db.example.org/x?sslmode=disable", Some("Disable")),
            ("postgres://a:b@db.example.org/x?sslmode=require", Some("Require")),
            ("postgres://a:b@db.example.org/x?sslmode=prefer", None),
            ("postgres://a:b@db.example.org/x?sslmode=allow", None),
            ("postgres://a:b@127.0.0.1/x", Some("Disable")),
            ("postgres://a:b@localhost/x?sslmode=verify-full", Some("VerifyFull")),
        ] {
            assert_eq!(mode(url).as_deref(), expected, "{url}");
        }
    }

    #[tokio::test]
    async fn a_server_that_is_not_there_is_named_with_the_cause() {
        let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let options = PgConnectOptions::from_str(&format!("postgres://a:b@127.0.0.1:{free}/season")).unwrap();
        let fault = reach(&options).await.unwrap_err().to_string();
        assert!(fault.contains(&format!("season at 127.0.0.1, port {free}")), "{fault}");
        assert!(fault.contains("refused") && !fault.contains(":b@"), "{fault}");
    }
}
