//! The files that every page links to, part of the binary so that nothing has to be installed beside it.

/// Address of the style sheet.
pub const STYLE_PATH: &str = "/sheet.css";
/// The style sheet.
pub const STYLE: &str = include_str!("sheet.css");
/// Media type of the style sheet.
pub const STYLE_TYPE: &str = "text/css; charset=utf-8";

/// Address of the style of sheets for printing.
pub const PAPER_PATH: &str = "/paper.css";
/// The style of sheets for printing.
pub const PAPER: &str = include_str!("paper.css");

/// Address of the icon.
pub const ICON_PATH: &str = "/favicon.svg";
/// The icon: an ink box, filled.
pub const ICON: &str = include_str!("favicon.svg");
/// Media type of the icon.
pub const ICON_TYPE: &str = "image/svg+xml";

/// The policy the pages are written for (W3C Content Security Policy Level 3): own style sheet, own icon,
/// forms to this host, nothing else; no scripts at all.
pub const CONTENT_POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; \
     base-uri 'none'; frame-ancestors 'none'";
