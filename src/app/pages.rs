//! The pages served beside the ticks, until told to stop.

use super::wake::Wake;
use super::{House, StartFault};
use crate::inbound::hook::{Hook, HookCall, Refused};
use crate::web::hook::{HookRead, HookRequest};
use crate::web::routes::{WebWays, router};
use crate::workbook;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

/// Pages about to be served.
pub struct Pages {
    listener: TcpListener,
    /// Where they are.
    pub address: SocketAddr,
    /// Reverse proxies, through which everybody comes.
    proxies: Vec<IpAddr>,
}

impl Pages {
    /// Takes the address; nothing is answered yet.
    pub async fn bind(listen: SocketAddr) -> Result<Pages, StartFault> {
        let failed =
            |source| StartFault::Io { what: format!("the pages cannot be served at {listen}"), source };
        let listener = TcpListener::bind(listen).await.map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        Ok(Pages { listener, address, proxies: Vec::new() })
    }

    /// Names the reverse proxies in front of the pages: they may have as many connections as there are.
    pub fn behind(self, proxies: &[IpAddr]) -> Pages {
        Pages { proxies: proxies.to_vec(), ..self }
    }

    /// Serves until stopped; an act on a page wakes the ticks.
    pub async fn serve(
        self,
        house: Arc<House>,
        hooks: Vec<Hook>,
        acted: Arc<Wake>,
        stop: CancellationToken,
    ) -> std::io::Result<()> {
        let ways = WebWays {
            read_workbook: workbook::read_octets,
            write_workbook: |book| workbook::to_xlsx(book).ok(),
            read_hook: Arc::new(move |request| read(&hooks, request)),
            acted: Arc::new(move || acted.wake()),
        };
        super::listener::serve(self.listener, router(house, ways), self.proxies, stop).await;
        Ok(())
    }
}

/// What a request to one of the hooks tells.
fn read(hooks: &[Hook], request: &HookRequest<'_>) -> HookRead {
    let Some(hook) = hooks.iter().find(|hook| hook.name == request.name) else { return HookRead::NoSuch };
    let raw = HookCall { headers: request.headers.clone(), query: request.query, body: request.body };
    match hook.read(&raw, request.now) {
        Ok(told) => HookRead::Told(told, hook.answer.clone()),
        Err(Refused::Unproven) => HookRead::Unproven,
        Err(Refused::Unreadable(why)) => HookRead::Unreadable(why),
    }
}

/// Waits for the signal to end.
pub async fn ended() {
    let interrupt = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        let Ok(mut terminate) = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate())
        else {
            let _ = interrupt.await;
            return;
        };
        tokio::select! {
            _ = interrupt => {}
            _ = terminate.recv() => {}
        }
    }
    #[cfg(not(unix))]
    let _ = interrupt.await;
}
