//! Which countries say times with am and pm.

/// Where the data come from.
pub const SOURCE: &str = "Unicode CLDR 48.2.0, supplemental timeData: the preferred hour cycle";

/// Countries, by ISO 3166 code, that prefer twelve hours; the world prefers twenty-four.
#[rustfmt::skip]
const TWELVE: &[&str] = &[
    "AE", "AG", "AL", "AR", "AS", "AU", "BB", "BD", "BH", "BM", "BN", "BO", "BS", "BT", "CA", "CL",
    "CO", "CR", "CU", "CY", "DJ", "DM", "DO", "DZ", "EC", "EG", "EH", "ER", "ET", "FJ", "FM", "GD",
    "GH", "GM", "GR", "GT", "GU", "GY", "HK", "HN", "IN", "IQ", "JM", "JO", "KH", "KI", "KN", "KP",
    "KR", "KW", "KY", "LB", "LC", "LR", "LS", "LY", "MH", "MO", "MP", "MR", "MW", "MX", "MY", "NA",
    "NI", "NZ", "OM", "PA", "PE", "PG", "PH", "PK", "PR", "PS", "PW", "PY", "QA", "SA", "SB", "SD",
    "SG", "SL", "SO", "SS", "SV", "SY", "SZ", "TC", "TD", "TN", "TO", "TT", "TW", "UM", "US", "UY",
    "VC", "VE", "VG", "VI", "VU", "WS", "YE", "ZM",
];

/// Language and country together that prefer otherwise than the country.
const OTHERWISE: &[(&str, &str, bool)] = &[("fr", "CA", false), ("ku", "SY", false)];

/// Whether times are said with am and pm in a country, to somebody who reads a language (a BCP 47 tag in lower case).
pub fn is_twelve(country: &str, language: &str) -> bool {
    let language = language.split('-').next().unwrap_or(language);
    let country = country.to_uppercase();
    let own = OTHERWISE.iter().find(|(tongue, region, _)| *tongue == language && *region == country);
    own.map_or_else(|| TWELVE.contains(&country.as_str()), |(.., twelve)| *twelve)
}
