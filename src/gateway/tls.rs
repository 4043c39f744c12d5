//! Whom connections trust: the system's certificates, and those a host adds.

use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use std::sync::Arc;

/// A client's side of TLS that trusts the system's certificates and those of `trusted` (PEM).
///
/// # Errors
/// A certificate of `trusted` that cannot be read, in words.
pub fn client_config(trusted: Option<&[u8]>) -> Result<rustls::ClientConfig, String> {
    let mut roots = rustls::RootCertStore::empty();
    roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    for certificate in trusted.map(CertificateDer::pem_slice_iter).into_iter().flatten() {
        let certificate = certificate.map_err(|e| format!("{e:?}"))?;
        roots.add(certificate).map_err(|e| e.to_string())?;
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|e| e.to_string())?;
    Ok(builder.with_root_certificates(roots).with_no_client_auth())
}
