//! A look through the tags of an OpenDocument table before it is parsed.
//!
//! One tag may stand for a million cells, and a table that never ends would be read for ever: both are refused here.

use super::{CELLS_MAX, COLUMNS_MAX, ROWS_MAX, whole};
use crate::domain::book::Problem;

/// Rows and columns up to the last cell with something in it.
#[derive(Default)]
struct Extent {
    rows: u64,
    filled_rows: u64,
    columns: u64,
    filled_columns: u64,
    widest: u64,
    row_repeats: u64,
}

fn malformed() -> Problem {
    whole(
        "the workbook is damaged: its tables are not well formed",
        "Open it in a spreadsheet program and save it again.",
    )
}

/// Refuses content whose tables are larger than any season, or broken.
pub(super) fn look(content: &[u8]) -> Result<(), Problem> {
    let mut open = 0_u32;
    let mut cells = 0_u64;
    let mut extent = Extent::default();
    let mut rest = content;
    while let Some(start) = rest.iter().position(|b| *b == b'<') {
        rest = &rest[start..];
        let length = tag_length(rest).ok_or_else(malformed)?;
        let tag = &rest[..length];
        rest = &rest[length..];
        match tag_name(tag) {
            b"table:table" => {
                open += 1;
                extent = Extent::default();
            }
            b"/table:table" => {
                open = open.checked_sub(1).ok_or_else(malformed)?;
                cells += extent.filled_rows.saturating_mul(extent.widest);
                too_large(&extent, cells)?;
            }
            b"table:table-row" => extent.begin_row(tag)?,
            b"/table:table-row" => extent.end_row(),
            b"table:table-cell" | b"table:covered-table-cell" => extent.cell(tag)?,
            _ => {}
        }
        // A row is bounded while it is read, not only when its table ends.
        too_large(&extent, cells)?;
    }
    if open > 0 { Err(malformed()) } else { Ok(()) }
}

fn too_large(extent: &Extent, cells: u64) -> Result<(), Problem> {
    // One row more than the limit passes, so that the reading can name the sheet that is too long.
    let rows_fit = extent.filled_rows <= u64::from(ROWS_MAX) * 12;
    let columns_fit = extent.filled_columns.max(extent.widest) <= u64::from(COLUMNS_MAX) * 4;
    if rows_fit && columns_fit && cells <= CELLS_MAX as u64 * 2 {
        return Ok(());
    }
    Err(whole(
        format!("a table of the workbook is far larger than {ROWS_MAX} rows or {COLUMNS_MAX} columns"),
        "Delete empty or copied rows and columns beyond your lists.",
    ))
}

impl Extent {
    fn begin_row(&mut self, tag: &[u8]) -> Result<(), Problem> {
        self.row_repeats = repeats(tag, b"table:number-rows-repeated")?;
        self.columns = 0;
        self.filled_columns = 0;
        Ok(())
    }

    fn end_row(&mut self) {
        self.rows = self.rows.saturating_add(self.row_repeats);
        if self.filled_columns > 0 {
            self.filled_rows = self.rows;
            self.widest = self.widest.max(self.filled_columns);
        }
    }

    fn cell(&mut self, tag: &[u8]) -> Result<(), Problem> {
        self.columns = self.columns.saturating_add(repeats(tag, b"table:number-columns-repeated")?);
        let filled = attribute(tag, b"office:value-type").is_some()
            || attribute(tag, b"table:formula").is_some()
            || attribute(tag, b"calcext:value-type").is_some();
        if filled {
            self.filled_columns = self.columns;
        }
        Ok(())
    }
}

/// Octets of the tag at the start; quotes, comments and character data may hold `>`.
fn tag_length(text: &[u8]) -> Option<usize> {
    for (open, close) in [(&b"<!--"[..], &b"-->"[..]), (b"<![CDATA[", b"]]>"), (b"<?", b"?>")] {
        if text.starts_with(open) {
            let inner = &text[open.len()..];
            return inner
                .windows(close.len())
                .position(|w| w == close)
                .map(|at| open.len() + at + close.len());
        }
    }
    let mut quote = None;
    for (at, byte) in text.iter().enumerate() {
        match (quote, byte) {
            (None, b'>') => return Some(at + 1),
            (None, b'"' | b'\'') => quote = Some(*byte),
            (Some(open), byte) if *byte == open => quote = None,
            _ => {}
        }
    }
    None
}

fn tag_name(tag: &[u8]) -> &[u8] {
    let inner = &tag[1..];
    let end = inner
        .iter()
        .skip(1)
        .position(|b| b.is_ascii_whitespace() || matches!(b, b'>' | b'/'))
        .map_or(inner.len(), |at| at + 1);
    &inner[..end]
}

/// The value of an attribute of a tag.
fn attribute<'a>(tag: &'a [u8], name: &[u8]) -> Option<&'a [u8]> {
    let at = tag.windows(name.len()).position(|w| w == name)?;
    let rest = tag[at + name.len()..].trim_ascii_start().strip_prefix(b"=")?.trim_ascii_start();
    let (quote, rest) = rest.split_first()?;
    let end = rest.iter().position(|b| b == quote)?;
    Some(&rest[..end])
}

fn repeats(tag: &[u8], name: &[u8]) -> Result<u64, Problem> {
    match attribute(tag, name) {
        None => Ok(1),
        Some(value) => std::str::from_utf8(value).ok().and_then(|v| v.parse().ok()).ok_or_else(malformed),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_bounded() {
        let cell = |extra: &str| {
            format!(
                "<table:table table:name=\"a\"><table:table-row{extra}><table:table-cell office:value-type=\"string\"><text:p>x</text:p></table:table-cell></table:table-row></table:table>"
            )
        };
        let check =
            |content: &str, fits: bool| assert_eq!(look(content.as_bytes()).is_ok(), fits, "{content}");
        check(&cell(""), true);
        check(&cell(" table:number-rows-repeated=\"900000\""), false);
        check(&cell(" table:number-rows-repeated=\"many\""), false);
        check(
            "<table:table><table:table-row><table:table-cell table:number-columns-repeated='16384' office:value-type='float'/></table:table-row></table:table>",
            false,
        );
        check(
            "<table:table><table:table-row table:number-rows-repeated=\"1048576\"><table:table-cell table:number-columns-repeated='16384'/></table:table-row></table:table>",
            true,
        );
        check("<table:table><table:table-row>", false);
        check("<!-- </table:table> --><table:table>", false);
        check("<table:table a='>", false);
        check("</table:table>", false);
    }
}
