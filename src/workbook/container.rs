//! What kind of file it is, and whether it may be unpacked: every part is counted as it unpacks, before any parser runs.

use super::{PARTS_MAX, UNPACKED_MAX_OCTETS, ods, whole};
use crate::domain::book::Problem;
use std::io::{Cursor, Read};
use zip::ZipArchive;
use zip::result::ZipError;

/// The kinds that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Office Open XML.
    Xlsx,
    /// OpenDocument.
    Ods,
}

/// First octets of a compound file, in which old and password-protected workbooks are kept ([MS-CFB] 2.2).
const COMPOUND: [u8; 8] = [0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];
/// Tags in the list of shared texts at most; each text takes four, and the parser keeps every text in memory.
const TEXT_TAGS_MAX: u64 = 4_000_000;
/// Tags in any other part that is not a sheet at most: formats, drawings, relations; our own largest has a few thousand.
const OTHER_TAGS_MAX: u64 = 200_000;
/// Octets taken from a part at a time.
const CHUNK_OCTETS: usize = 64 * 1024;

const SAVE_AS: &str = "Open it in a spreadsheet program and save it as .xlsx or .ods.";
const UNLOCK: &str = "Open it with its password and save a copy without one.";

/// Tells the kind of a file, or why it cannot be read.
pub(super) fn look(octets: &[u8]) -> Result<Kind, Problem> {
    if octets.is_empty() {
        return Err(whole(
            "the file is empty",
            "Save the workbook again and check that the copy is complete.",
        ));
    }
    if octets.starts_with(&COMPOUND) {
        return Err(compound(octets));
    }
    if !octets.starts_with(b"PK") {
        return Err(whole(
            "the file is not a workbook",
            "Choose an .xlsx or .ods file, or a folder of .csv files.",
        ));
    }
    let damaged = |fault: &dyn std::fmt::Display| {
        whole(
            format!("the workbook is damaged or was cut short: {fault}"),
            "Save or copy it again, and check that the copy is complete.",
        )
    };
    let mut archive = ZipArchive::new(Cursor::new(octets)).map_err(|fault| damaged(&fault))?;
    if archive.len() > PARTS_MAX {
        return Err(whole(format!("the file has more than {PARTS_MAX} parts"), SAVE_AS));
    }
    let mut parts = Parts::default();
    for at in 0..archive.len() {
        let mut part = match archive.by_index(at) {
            Ok(part) => part,
            Err(ZipError::UnsupportedArchive(ZipError::PASSWORD_REQUIRED)) => {
                return Err(whole("the workbook is protected by a password", UNLOCK));
            }
            Err(fault) => return Err(damaged(&fault)),
        };
        let name = part.name().map(|n| n.into_owned()).unwrap_or_default();
        let kept = matches!(name.as_str(), "mimetype" | "content.xml" | "META-INF/manifest.xml");
        let text = parts.take(&mut part, kept, tags_max(&name)).map_err(|fault| match fault {
            Unpack::TooLarge => whole(
                format!("the workbook unpacks to more than {} MiB or to endless formats, which no season does", UNPACKED_MAX_OCTETS / 1024 / 1024),
                "Do not open it if you do not know where it comes from; else take pictures and unused sheets out of it.",
            ),
            Unpack::Broken(fault) => damaged(&fault),
        })?;
        parts.note(&name, text);
    }
    parts.kind()
}

/// Tags a part may have. Sheets are read cell by cell and bounded there; the parser holds all else in memory whole.
fn tags_max(name: &str) -> u64 {
    let lower = name.to_ascii_lowercase();
    let file = lower.rsplit('/').next().unwrap_or_default();
    if name == "content.xml" || (lower.contains("worksheets/") && file.starts_with("sheet")) {
        u64::MAX
    } else if file == "sharedstrings.xml" {
        TEXT_TAGS_MAX
    } else {
        OTHER_TAGS_MAX
    }
}

fn compound(octets: &[u8]) -> Problem {
    // The stream of an encrypted workbook has this name, in UTF-16, in the directory of the compound file ([MS-OFFCRYPTO] 2.3.4.4).
    let name: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
    if octets.windows(name.len()).any(|window| window == name) {
        whole("the workbook is protected by a password", UNLOCK)
    } else {
        whole("the file is of the old .xls kind or another compound file", SAVE_AS)
    }
}

enum Unpack {
    TooLarge,
    Broken(std::io::Error),
}

/// What the parts of the file tell.
#[derive(Default)]
struct Parts {
    octets: u64,
    has_workbook_part: bool,
    mimetype: Vec<u8>,
    content: Option<Vec<u8>>,
    encrypted: bool,
}

impl Parts {
    /// Unpacks one part, keeping it only where it is needed, and never more than the limit over all parts.
    fn take(&mut self, part: &mut impl Read, keep: bool, tags_max: u64) -> Result<Vec<u8>, Unpack> {
        let mut kept = Vec::new();
        let mut tags = 0;
        let mut chunk = vec![0; CHUNK_OCTETS];
        loop {
            let read = part.read(&mut chunk).map_err(Unpack::Broken)?;
            if read == 0 {
                return Ok(kept);
            }
            self.octets += read as u64;
            tags += chunk[..read].iter().filter(|b| **b == b'<').count() as u64;
            if self.octets > UNPACKED_MAX_OCTETS || tags > tags_max {
                return Err(Unpack::TooLarge);
            }
            if keep {
                kept.extend_from_slice(&chunk[..read]);
            }
        }
    }

    fn note(&mut self, name: &str, text: Vec<u8>) {
        match name {
            "mimetype" => self.mimetype = text,
            "content.xml" => self.content = Some(text),
            "META-INF/manifest.xml" => self.encrypted |= text.windows(15).any(|w| w == b"encryption-data"),
            "encrypted-package" => self.encrypted = true,
            _ => self.has_workbook_part |= name.eq_ignore_ascii_case("xl/workbook.xml"),
        }
    }

    fn kind(self) -> Result<Kind, Problem> {
        if self.encrypted {
            return Err(whole("the workbook is protected by a password", UNLOCK));
        }
        if self.has_workbook_part {
            return Ok(Kind::Xlsx);
        }
        if self.mimetype.starts_with(b"application/vnd.oasis.opendocument.spreadsheet") {
            let content = self.content.unwrap_or_default();
            ods::look(&content)?;
            return Ok(Kind::Ods);
        }
        Err(whole(
            "the file is a packed file but not a workbook",
            "Choose an .xlsx or .ods file, or a folder of .csv files.",
        ))
    }
}
