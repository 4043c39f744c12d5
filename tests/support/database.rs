//! A PostgreSQL server of the test's own, and a fresh database in it for each that asks.

#![allow(dead_code, reason = "each test uses a part of it")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a helper of a test may fail the test")]

use std::net::{Ipv4Addr, TcpListener};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicU32, Ordering};

/// A cluster that is stopped when it is dropped.
pub struct Cluster {
    folder: tempfile::TempDir,
    port: u16,
    databases: AtomicU32,
}

fn script() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers/postgres")
}

/// Whether a server can be started. Where it cannot, a test with `CI` set fails; elsewhere one line says what is left out.
pub fn server(test: &str) -> Option<Cluster> {
    let installed = std::fs::read_dir("/usr/lib/postgresql").is_ok_and(|mut found| found.next().is_some());
    if installed {
        return Some(Cluster::start());
    }
    assert!(std::env::var_os("CI").is_none(), "{test} needs PostgreSQL; tests/run installs what tests need");
    eprintln!("{test}: not run on PostgreSQL, which is not installed");
    None
}

impl Cluster {
    fn start() -> Cluster {
        let folder = tempfile::tempdir().unwrap();
        std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(0o755)).unwrap();
        let port = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap().local_addr().unwrap().port();
        let cluster = Cluster { folder, port, databases: AtomicU32::new(0) };
        let start =
            Command::new(script()).arg("start").arg(cluster.data()).arg(port.to_string()).output().unwrap();
        assert!(start.status.success(), "{}", String::from_utf8_lossy(&start.stderr));
        cluster
    }

    /// Kills the server as a failure of its host would.
    pub fn kill(&self) {
        let killed = Command::new(script()).arg("stop").arg(self.data()).status().unwrap();
        assert!(killed.success());
    }

    /// Starts it again on what it had written.
    pub fn again(&self) {
        let started = Command::new(script()).arg("again").arg(self.data()).output().unwrap();
        assert!(started.status.success(), "{}", String::from_utf8_lossy(&started.stderr));
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("cluster")
    }

    fn url(&self, database: &str) -> String {
        format!("postgres://app@127.0.0.1:{}/{database}", self.port)
    }

    /// The address of a new and empty database.
    pub async fn database(&self) -> String {
        use sqlx::Connection as _;
        let name = format!("season{}", self.databases.fetch_add(1, Ordering::Relaxed));
        let mut server = sqlx::PgConnection::connect(&self.url("postgres")).await.unwrap();
        let create = format!("CREATE DATABASE {name}");
        sqlx::raw_sql(sqlx::AssertSqlSafe(create)).execute(&mut server).await.unwrap();
        server.close().await.unwrap();
        self.url(&name)
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let _ = Command::new(script()).arg("stop").arg(self.data()).status();
    }
}
