//! The workbook as a volunteer hands it in: good files, odd files, broken files.

#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

use allheard::domain::book::{Book, Cell, Problem, Row, Weight};
use allheard::domain::published::reminders::{STARTERS, sentence};
use allheard::domain::season::{Offset, Season};
use allheard::domain::{reading, refs};
use allheard::workbook::{self, Checked};
use std::io::{Cursor, Write};
use std::path::Path;
use zip::write::SimpleFileOptions;

/// The row of a notice that is counted from a call.
const TOMORROW: usize = 28;

/// The blank workbook with its required settings filled in.
fn example() -> Book {
    let mut book = workbook::blank();
    for (name, value) in [
        ("name", "Example Season"),
        ("school", "Example School"),
        ("zone", "Europe/London"),
        ("country", "GB"),
        ("short name", "Example"),
        ("named lead", "Example Lead"),
        ("named lead telephone", "+1 212 555 0113"),
    ] {
        set_setting(&mut book, name, value);
    }
    book
}

fn set_setting(book: &mut Book, name: &str, value: &str) {
    let row = book.sheet_mut("season").rows.iter_mut().find(|r| r.text("setting") == name).unwrap();
    row.set("value", value);
}

fn edit(book: &mut Book, sheet: &str, row: usize, column: &str, text: &str) {
    book.sheet_mut(sheet).rows[row].set(column, text);
}

fn add_copy(book: &mut Book, sheet: &str, row: usize) -> usize {
    let rows = &mut book.sheet_mut(sheet).rows;
    let mut copy = rows[row].clone();
    copy.number = rows.last().unwrap().number + 1;
    rows.push(copy);
    rows.len() - 1
}

fn in_file(book: &Book, check: impl FnOnce(&Path)) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("season.xlsx");
    workbook::write(book, &path).unwrap();
    check(&path);
}

fn octets_checked(name: &str, octets: &[u8]) -> Checked {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, octets).unwrap();
    workbook::check(&path)
}

fn zipped(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, octets) in parts {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(octets).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// Asserts that a problem of this weight, place and wording is told, with a cure, and that errors leave no season.
#[track_caller]
fn told(
    problems: &[Problem],
    season: Option<&Season>,
    weight: Weight,
    sheet: &str,
    row: Option<u32>,
    words: &str,
) {
    let found = problems
        .iter()
        .find(|p| p.weight == weight && p.sheet == sheet && p.row == row && p.reason.contains(words));
    let found = found.unwrap_or_else(|| {
        panic!("no {weight:?} on '{sheet}' row {row:?} with '{words}' among {problems:#?}")
    });
    assert!(!found.cure.is_empty());
    let errors = problems.iter().any(|p| p.weight == Weight::Error);
    assert_eq!(season.is_none(), errors, "a season exactly when nothing is an error");
}

#[track_caller]
fn told_of(book: &Book, weight: Weight, sheet: &str, row: Option<u32>, words: &str) {
    let (season, problems) = reading::season(book);
    told(&problems, season.as_ref(), weight, sheet, row, words);
}

#[test]
fn the_blank_workbook_passes_once_its_settings_are_filled_in() {
    in_file(&example(), |path| {
        let checked = workbook::check(path);
        assert_eq!(checked.problems, vec![]);
        let season = checked.season.unwrap();
        // Each of the two chaperones is a household of her own.
        assert_eq!((season.children.len(), season.families().len(), season.households.len()), (2, 3, 5));
        assert_eq!(
            (season.events.len(), season.numbers.len(), season.duties.len(), season.notices.len()),
            (2, 2, 4, STARTERS.len())
        );
        assert_eq!(
            season.places[1].ways[0].walk,
            (5, 6),
            "300 m: 5 min at 3.5 ft/s, 6 min at 3.0 ft/s (MUTCD 2009 s4E.06)"
        );
    });
    // Whoever fills in no more than must be is asked for two things more.
    let mut spare = example();
    for name in ["short name", "named lead", "named lead telephone"] {
        set_setting(&mut spare, name, "-");
    }
    let (season, problems) = reading::season(&spare);
    let asked: Vec<&str> = problems.iter().map(|p| p.reason.split(':').next().unwrap()).collect();
    assert!(season.is_some() && asked == ["named lead", "short name"], "{problems:#?}");
    let (season, problems) = reading::season(&workbook::blank());
    for name in ["name", "school", "zone", "country"] {
        assert!(
            problems.iter().any(|p| p.weight == Weight::Error
                && p.sheet == "season"
                && p.reason.starts_with(&format!("{name}:"))),
            "{name}"
        );
    }
    assert!(season.is_none());
}

#[test]
fn what_is_written_is_read_back_the_same() {
    let mut book = example();
    refs::adopt(&mut book, None);
    edit(&mut book, "children", 0, "given name", "Zoë 🎭 =cmd()");
    edit(&mut book, "children", 1, "family name", "O\u{2019}Example");
    edit(&mut book, "events", 0, "bring", "-1+1; \"quoted\", and, commas");
    edit(&mut book, "events", 0, "ends", "20:30");
    book.sheet_mut("events").rows[1].cells.insert("bring".into(), Cell::Fault("#REF!".into()));
    let folder = tempfile::tempdir().unwrap();
    for name in ["season.xlsx", "season"] {
        let path = folder.path().join(name);
        workbook::write(&book, &path).unwrap();
        workbook::write(&book, &path).unwrap();
        let (read, problems) = workbook::read(&path).unwrap();
        assert_eq!(problems, vec![], "{name}");
        assert_eq!(read, book, "{name}");
    }
    assert!(workbook::write(&book, &folder.path().join("season.docx")).is_err());
}

#[test]
fn the_blank_workbook_ships_the_starting_set_and_why() {
    in_file(&example(), |path| {
        let checked = workbook::check(path);
        let rows = checked.book.rows("notices");
        assert_eq!(rows.len(), STARTERS.len());
        for (row, starter) in rows.iter().zip(STARTERS) {
            let written: Vec<(&str, &str)> = row
                .cells
                .keys()
                .map(|column| (column.as_str(), row.text(column)))
                .filter(|(column, text)| *column != "ref" && !text.is_empty())
                .collect();
            let mut shipped = starter.cells();
            shipped.sort();
            let shipped: Vec<(&str, &str)> =
                shipped.iter().map(|(column, text)| (*column, text.as_str())).collect();
            assert_eq!(written, shipped);
        }
        let season = checked.season.unwrap();
        for (notice, starter) in season.notices.iter().zip(STARTERS) {
            assert_eq!((notice.name.as_str(), notice.why.clone()), (starter.name, sentence(starter.grounds)));
            assert_eq!((notice.owes, notice.other_channel_hours), (starter.owes, starter.other_channel));
        }
        assert_eq!((season.settings.class_door_days, season.settings.calls_days), (28, 5));
    });
    // Each offset is a cell like any other.
    let mut book = example();
    edit(&mut book, "notices", TOMORROW, "days before", "2");
    set_setting(&mut book, "class door days before", "21");
    set_setting(&mut book, "calls days before", "4");
    let (season, problems) = reading::season(&book);
    assert_eq!(problems, vec![]);
    let season = season.unwrap();
    let at = jiff::civil::time(17, 0, 0, 0);
    assert_eq!(season.notices[TOMORROW].offset, Offset::DaysBefore { days: 2, at });
    assert_eq!((season.settings.class_door_days, season.settings.calls_days), (21, 4));
}

#[test]
fn no_formula_is_ever_written() {
    let mut book = example();
    for (at, text) in
        ["=cmd()", "=HYPERLINK(\"http://x.example\",\"y\")", "+1+1", "-1", "@SUM(A1)", "\u{FF1D}1"]
            .iter()
            .enumerate()
    {
        let row = add_copy(&mut book, "numbers", 0);
        edit(&mut book, "numbers", row, "name", text);
        edit(&mut book, "numbers", row, "teacher", text);
        edit(&mut book, "numbers", row, "length", &format!("2:{at:02}"));
    }
    let octets = workbook::to_xlsx(&book).unwrap();
    let mut zip = zip::ZipArchive::new(Cursor::new(&octets)).unwrap();
    let mut sheets = 0;
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        if part.name().unwrap().starts_with("xl/worksheets/sheet") {
            let xml = std::io::read_to_string(&mut part).unwrap();
            assert!(!xml.contains("<f>") && !xml.contains("<f "));
            sheets += 1;
        }
    }
    assert_eq!(sheets, 14);
    let (read, _) = workbook::read_octets(&octets).unwrap();
    assert_eq!(read, book);
    let folder = tempfile::tempdir().unwrap();
    workbook::write(&book, folder.path()).unwrap();
    let text = std::fs::read_to_string(folder.path().join("numbers.csv")).unwrap();
    assert!(text.contains(",'=cmd()") && !text.contains(",=cmd()"));
    assert_eq!(workbook::read(folder.path()).unwrap().0, book);
}

#[test]
fn the_workbook_guides_the_hand() {
    let octets = workbook::to_xlsx(&workbook::blank()).unwrap();
    let mut zip = zip::ZipArchive::new(Cursor::new(&octets)).unwrap();
    let mut part = |name: &str| std::io::read_to_string(zip.by_name(name).unwrap()).unwrap();
    let children = part("xl/worksheets/sheet9.xml");
    assert!(children.contains("state=\"frozen\"") && children.contains("\"yes,no\""));
    assert!(part("xl/worksheets/sheet6.xml").contains("dress rehearsal"));
    let strings = part("xl/sharedStrings.xml");
    for words in ["quick change below", "Leave the columns named ref alone", "One line a child"] {
        assert!(strings.contains(words), "{words}");
    }
}

#[test]
fn broken_files_are_told_and_nothing_is_loaded() {
    let whole = workbook::to_xlsx(&example()).unwrap();
    let refused = |name: &str, octets: &[u8], words: &str| {
        let checked = octets_checked(name, octets);
        told(&checked.problems, checked.season.as_ref(), Weight::Error, "", None, words);
        assert!(checked.has_errors() && checked.book == Book::default(), "{name}");
    };
    refused("empty.xlsx", b"", "empty");
    refused("text.xlsx", b"Dear Sir or Madam", "not a workbook");
    refused("picture.ods", b"\x89PNG\r\n\x1a\n", "not a workbook");
    for part in 1..20 {
        let cut = whole.len() * part / 20;
        refused(
            "cut.xlsx",
            &whole[..cut],
            if cut < 2 { "not a workbook" } else { "damaged or was cut short" },
        );
    }
    refused("other.zip.xlsx", &zipped(&[("letter.txt", b"hello")]), "not a workbook");
    refused(
        "hollow.xlsx",
        &zipped(&[("xl/workbook.xml", b"<workbook"), ("[Content_Types].xml", b"")]),
        "damaged",
    );
    let mut compound = vec![0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];
    compound.resize(1024, 0);
    refused("old.xls", &compound, "old .xls");
    compound.extend("EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes));
    refused("locked.xlsx", &compound, "password");
    let locked = b"<manifest:manifest><manifest:file-entry><manifest:encryption-data/></manifest:file-entry></manifest:manifest>";
    refused(
        "locked.ods",
        &zipped(&[("mimetype", ODS_TYPE), ("META-INF/manifest.xml", locked), ("content.xml", b"\x00\x01")]),
        "password",
    );
    // Bit 0 of the general purpose flags marks an encrypted part (APPNOTE 4.4.4), in both headers.
    let mut flagged = zipped(&[("xl/workbook.xml", b"<workbook/>")]);
    flagged[6] |= 1;
    let central = flagged.windows(4).position(|w| w == b"PK\x01\x02").unwrap();
    flagged[central + 8] |= 1;
    refused("flagged.xlsx", &flagged, "password");
    let bomb = zipped(&[("xl/workbook.xml", &vec![b' '; 80 * 1024 * 1024]), ("xl/sharedStrings.xml", b"x")]);
    assert!(bomb.len() < 200_000);
    refused("bomb.xlsx", &bomb, "unpacks to more than 64 MiB");
    let formats = zipped(&[
        ("xl/workbook.xml", b"<workbook/>"),
        ("xl/styles.xml", "<xf/>".repeat(1_000_000).as_bytes()),
    ]);
    refused("formats.xlsx", &formats, "endless formats");
    let missing = workbook::check(Path::new("no such file.xlsx"));
    told(&missing.problems, None, Weight::Error, "", None, "cannot be opened");
}

#[test]
fn every_flipped_octet_is_survived() {
    let whole = workbook::to_xlsx(&example()).unwrap();
    for at in (0..whole.len()).step_by(whole.len() / 150) {
        let mut broken = whole.clone();
        broken[at] ^= 0x55;
        // Whether it reads or not depends on the octet; that it ends in an answer is what is asked.
        match workbook::read_octets(&broken) {
            Ok((book, _)) => assert!(!book.sheets.is_empty()),
            Err(problem) => assert_eq!(problem.weight, Weight::Error),
        }
    }
}

const ODS_TYPE: &[u8] = b"application/vnd.oasis.opendocument.spreadsheet";

fn ods(tables: &str) -> Vec<u8> {
    let content = format!(
        "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\">\
         <office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    );
    zipped(&[
        ("mimetype", ODS_TYPE),
        ("META-INF/manifest.xml", b"<manifest:manifest/>"),
        ("content.xml", content.as_bytes()),
    ])
}

fn ods_text(text: &str) -> String {
    format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
}

#[test]
fn an_ods_holds_dates_times_truths_and_faults() {
    let names: String = ["Name ", "KIND", "place", "date", "call", "starts", "turn-in", "bring"]
        .iter()
        .map(|n| ods_text(n))
        .collect();
    let row = format!(
        "{}{}{}<table:table-cell office:value-type=\"date\" office:date-value=\"2027-06-04\"/>\
         <table:table-cell office:value-type=\"time\" office:time-value=\"PT17H00M00S\"/>\
         <table:table-cell table:formula=\"of:=[.E2]\" office:value-type=\"time\" office:time-value=\"PT18H30M00S\"/>\
         <table:table-cell office:value-type=\"boolean\" office:boolean-value=\"true\"/>{}",
        ods_text("Cafe\u{301} night"),
        ods_text("show"),
        ods_text("Theatre"),
        ods_text("#REF!"),
    );
    let lengths = format!(
        "<table:table table:name=\"numbers\"><table:table-row>{}{}</table:table-row><table:table-row>{}<table:table-cell office:value-type=\"time\" office:time-value=\"PT02H05M00S\"/></table:table-row>\
         <table:table-row>{}<table:table-cell office:value-type=\"time\" office:time-value=\"PT00H02M05S\"/></table:table-row></table:table>",
        ods_text("name"),
        ods_text("length"),
        ods_text("One"),
        ods_text("Two"),
    );
    let table = format!(
        "<table:table table:name=\" Events\"><table:table-row>{names}</table:table-row><table:table-row table:number-rows-repeated=\"3\"><table:table-cell/></table:table-row><table:table-row>{row}</table:table-row></table:table>{lengths}<table:table table:name=\"Read me\"><table:table-row>{}</table:table-row></table:table>",
        ods_text("hello")
    );
    let (book, problems) = workbook::read_octets(&ods(&table)).unwrap();
    let event = &book.rows("events")[0];
    assert_eq!(event.number, 5);
    for (column, text) in [
        ("name", "Caf\u{e9} night"),
        ("date", "2027-06-04"),
        ("call", "17:00"),
        ("starts", "18:30"),
        ("turn-in", "yes"),
    ] {
        assert_eq!(event.text(column), text);
    }
    assert_eq!(event.cells["bring"], Cell::Fault("#REF!".into()));
    assert_eq!(book.rows("numbers").iter().map(|r| r.text("length")).collect::<Vec<_>>(), ["2:05", "2:05"]);
    assert!(problems.iter().all(|p| p.reason.ends_with("is missing")), "{problems:#?}");
}

#[test]
fn an_xlsx_holds_dates_times_truths_formulas_and_faults() {
    use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook};
    let mut file = Workbook::new();
    let sheet = file.add_worksheet();
    sheet.set_name("EVENTS ").unwrap();
    for (at, name) in
        (0_u16..).zip(["Name", "date", "call", "starts", "adults may watch", "bring", "ends", "dismissal"])
    {
        sheet.write_string(0, at, name).unwrap();
    }
    sheet.write_formula(1, 0, Formula::new("=\"Gala\"&\" night\"").set_result("Gala night")).unwrap();
    sheet
        .write_datetime_with_format(
            1,
            1,
            ExcelDateTime::from_ymd(2027, 6, 4).unwrap(),
            &Format::new().set_num_format("dd/mm/yyyy"),
        )
        .unwrap();
    sheet
        .write_datetime_with_format(
            1,
            2,
            ExcelDateTime::from_hms(17, 0, 0.0).unwrap(),
            &Format::new().set_num_format("h:mm AM/PM"),
        )
        .unwrap();
    sheet.write_number(1, 3, 0.75).unwrap();
    sheet.write_boolean(1, 4, false).unwrap();
    sheet.write_formula(1, 5, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_string(1, 6, "5:30 pm").unwrap();
    sheet.write_string(1, 7, "Line one\r\nline two").unwrap();
    let sheet = file.add_worksheet();
    sheet.set_name("numbers").unwrap();
    sheet.write_string(0, 0, "name").unwrap();
    sheet.write_string(0, 1, "length").unwrap();
    for (row, format, hour, minute, second) in
        [(1, "h:mm", 2, 5, 0.0), (2, "h:mm:ss", 0, 2, 5.0), (3, "mm:ss", 0, 2, 0.0), (4, "h:mm", 0, 20, 0.0)]
    {
        sheet.write_string(row, 0, format!("Number {row}")).unwrap();
        sheet
            .write_datetime_with_format(
                row,
                1,
                ExcelDateTime::from_hms(hour, minute, second).unwrap(),
                &Format::new().set_num_format(format),
            )
            .unwrap();
    }
    sheet.write_string(5, 0, "Number 5").unwrap();
    sheet.write_number(5, 1, 125).unwrap();
    file.add_worksheet().set_name("Sheet1").unwrap();
    let (book, problems) = workbook::read_octets(&file.save_to_buffer().unwrap()).unwrap();
    let event = &book.rows("events")[0];
    for (column, text) in [
        ("name", "Gala night"),
        ("date", "2027-06-04"),
        ("call", "17:00"),
        ("starts", "18:00"),
        ("adults may watch", "no"),
        ("ends", "5:30 pm"),
    ] {
        assert_eq!(event.text(column), text, "{column}");
    }
    assert_eq!(event.cells["bring"], Cell::Fault("#DIV/0!".into()));
    assert!(event.text("dismissal").contains('\n'), "a line break stays, to be told of");
    assert_eq!(
        book.rows("numbers").iter().map(|r| r.text("length")).collect::<Vec<_>>(),
        ["2:05", "2:05", "2:00", "0:20", "125"]
    );
    assert!(problems.iter().all(|p| p.reason.ends_with("is missing")), "{problems:#?}");
    let (season, problems) = reading::season(&book);
    told(&problems, season.as_ref(), Weight::Error, "events", Some(2), "#DIV/0!");
    told(&problems, season.as_ref(), Weight::Error, "events", Some(2), "line break");
}

#[test]
fn wrong_names_of_sheets_and_columns_get_a_near_match() {
    let header = |name: &str, columns: &[&str]| {
        let cells: String = columns.iter().map(|c| ods_text(c)).collect();
        format!("<table:table table:name=\"{name}\"><table:table-row>{cells}</table:table-row></table:table>")
    };
    let octets = ods(&(header("Childern", &["x"])
        + &header("places", &["name", "dor"])
        + &header("Places ", &["name"])
        + &header("budget", &["x"])));
    let checked = octets_checked("odd.ods", &octets);
    let cure = |words: &str| {
        &checked
            .problems
            .iter()
            .find(|p| p.reason.contains(words))
            .unwrap_or_else(|| panic!("{words}: {:#?}", checked.problems))
            .cure
    };
    assert!(cure("'Childern' is not a sheet").contains("'children'"));
    assert!(cure("'dor' is not a column").contains("'door'"));
    assert!(cure("'budget' is not a sheet").contains("Leave it"));
    assert!(cure("'places' is there twice").contains("Keep one"));
    assert!(cure("the sheet 'events' is missing").contains("Add it"));
    assert!(!checked.problems.iter().any(|p| p.reason.contains("'children' is missing")), "it is misnamed");
    assert!(cure("the column 'door' is missing").contains("first row"));
    assert!(checked.season.is_none());
    let stranger = octets_checked("stranger.ods", &ods(&header("budget", &["x"])));
    told(&stranger.problems, None, Weight::Error, "", None, "none of the sheets of a season");
}

#[test]
fn a_hundred_thousand_rows_are_one_clear_error() {
    use rust_xlsxwriter::Workbook;
    let mut file = Workbook::new();
    let sheet = file.add_worksheet();
    sheet.set_name("children").unwrap();
    for (at, name) in (0_u16..).zip(["given name", "family name", "numbers", "guardian 1 name"]) {
        sheet.write_string(0, at, name).unwrap();
        for row in 1..=100_000 {
            sheet.write_string(row, at, "x").unwrap();
        }
    }
    let octets = file.save_to_buffer().unwrap();
    let (book, problems) = workbook::read_octets(&octets).unwrap();
    told(&problems, None, Weight::Error, "children", Some(10_002), "more than 10000 lines");
    assert_eq!(book.rows("children").len(), 10_000);
    let mut rows = String::from("<table:table table:name=\"children\">");
    let cells: String =
        ["given name", "family name", "numbers", "guardian 1 name"].iter().map(|n| ods_text(n)).collect();
    rows += &format!(
        "<table:table-row>{cells}</table:table-row><table:table-row table:number-rows-repeated=\"100000\">{cells}</table:table-row></table:table>"
    );
    let (_, problems) = workbook::read_octets(&ods(&rows)).unwrap();
    told(&problems, None, Weight::Error, "children", Some(10_002), "more than 10000 lines");
    let wide = ods(&format!(
        "<table:table table:name=\"children\"><table:table-row table:number-rows-repeated=\"100000\">{}</table:table-row></table:table>",
        ods_text("x")
            .replace("<table:table-cell ", "<table:table-cell table:number-columns-repeated=\"16384\" ")
    ));
    assert!(workbook::read_octets(&wide).unwrap_err().reason.contains("far larger"));
}

#[test]
fn a_folder_of_csv_from_other_hands_is_read() {
    let folder = tempfile::tempdir().unwrap();
    workbook::write(&example(), folder.path()).unwrap();
    std::fs::write(
        folder.path().join("places.csv"),
        "\u{FEFF}name;door\r\n\"Two\nlines\";\"a\nb\"\r\n\r\n'+Hall;x\r\n",
    )
    .unwrap();
    std::fs::write(folder.path().join("README.txt"), "not read").unwrap();
    std::fs::write(folder.path().join("ways.csv"), b"place,from\r\nCaf\xe9,x\r\n").unwrap();
    let (book, problems) = workbook::read(folder.path()).unwrap();
    let places = book.rows("places");
    assert_eq!(places.iter().map(|r| r.number).collect::<Vec<_>>(), [2, 4]);
    assert_eq!((places[0].text("door"), places[1].text("name")), ("a b", "+Hall"));
    let old = problems.iter().find(|one| one.sheet == "ways" && one.reason.contains("UTF-8")).unwrap();
    assert!(old.weight == Weight::Warning && old.row == Some(2) && old.reason.contains("'Café'"), "{old:?}");
    assert_eq!(book.rows("ways")[0].text("place"), "Café");
    told_of(&book, Weight::Error, "places", Some(2), "line break");
    let empty = tempfile::tempdir().unwrap();
    assert!(workbook::read(empty.path()).unwrap_err().reason.contains("no .csv"));
}

#[test]
fn settings_are_judged() {
    let check = |name: &str, value: &str, words: &str, cure: &str| {
        let mut book = example();
        set_setting(&mut book, name, value);
        let (season, problems) = reading::season(&book);
        assert!(season.is_none(), "{name} {value}");
        let found = problems
            .iter()
            .find(|p| p.weight == Weight::Error && p.sheet == "season" && p.reason.contains(words));
        let found = found.unwrap_or_else(|| panic!("{name} {value}: {problems:#?}"));
        assert!(found.cure.contains(cure), "{found:?}");
    };
    check("zone", "Europe/Lundon", "'Europe/Lundon' is not a time zone", "Europe/London");
    check("zone", "New York", "not a time zone", "America/New_York");
    check("zone", "Mars/Olympus", "not a time zone", "IANA");
    check("country", "UK", "not a country code", "GB");
    check("language", "elvish", "not a language code", "en");
    check("messages from", "21:00", "no time of day", "earlier");
    check("messages from", "eight", "not a time of day", "08:00");
    check("version", "2", "layout version '2'", "blank");
    check("version", "one", "layout version 'one'", "blank");
    check("settled by", "anybody", "not one of the three", "each household");
    check("walking feet per second", "30", "not a walking pace", "3.0");
    check("children per adult", "0", "out of range", "1 to 100");
    check("ref", "the spring show of 2030", "short word", "S1");
    let mut book = example();
    let at = add_copy(&mut book, "season", 0);
    edit(&mut book, "season", at, "setting", "quick changes below");
    let number = book.rows("season")[at].number;
    let (_, problems) = reading::season(&book);
    let found = problems.iter().find(|p| p.row == Some(number)).unwrap();
    assert!(found.cure.contains("'quick change below'"));
}

#[test]
fn children_and_guardians_are_judged() {
    let mut twice = example();
    add_copy(&mut twice, "children", 0);
    told_of(&twice, Weight::Error, "children", Some(4), "is also in row 2");
    let mut alike = example();
    edit(&mut alike, "children", 1, "family name", "CHILD-one");
    told_of(&alike, Weight::Hint, "children", Some(2), "rows 2 and 3 have the same name");
    let check = |changes: &[(&str, &str)], weight: Weight, words: &str| {
        let mut book = example();
        for (column, text) in changes {
            edit(&mut book, "children", 1, column, text);
        }
        told_of(&book, weight, "children", Some(3), words);
    };
    check(
        &[("guardian 1 e-mail", "")],
        Weight::Warning,
        "with neither a telephone number nor a mail address",
    );
    check(&[("guardian 1 e-mail", "")], Weight::Warning, "none of whose guardians can be written to");
    check(
        &[("guardian 1 e-mail", ""), ("guardian 1 mobile", "020 7946 0018")],
        Weight::Warning,
        "can only be rung",
    );
    check(&[("guardian 1 mobile", "020 7946 0018")], Weight::Warning, "land line");
    check(&[("guardian 1 mobile", "07700 900123")], Weight::Warning, "doesn't look like a working number");
    check(
        &[("guardian 1 mobile", "07700 900123 mum")],
        Weight::Warning,
        "words beside it, which are not dialled",
    );
    check(
        &[("guardian 1 mobile", "07700 900123 after 6")],
        Weight::Error,
        "not clear which digits are the number",
    );
    check(&[("guardian 1 mobile", "07700 900123")], Weight::Warning, "does not say whether 1 guardian");
    check(&[("guardian 1 mobile", "999")], Weight::Error, "cannot be rung");
    check(&[("guardian 1 mobile", "ring me")], Weight::Error, "not a telephone number");
    check(&[("guardian 1 e-mail", "three@example")], Weight::Error, "not a mail address");
    check(&[("guardian 1 name", "")], Weight::Error, "'guardian 1 name' is empty");
    check(&[("guardian 3 e-mail", "a@example.com")], Weight::Error, "guardian 3 has details but no name");
    check(&[("numbers", "Example Finalle")], Weight::Error, "not on the sheet 'numbers'");
    check(&[("numbers", "Example Finale; Example Finale")], Weight::Error, "listed twice");
    check(&[("numbers", "Example Finale: middle")], Weight::Error, "neither a place in line nor a side");
    check(&[("ages", "2030-06-05")], Weight::Error, "not an age band");
    check(&[("cast", "A; B")], Weight::Warning, "more than one cast");
    check(&[("cast", "Moon")], Weight::Warning, "no event is performed by this cast");
    check(&[("given name", "Ex\r\nBcc: x@example.com")], Weight::Error, "line break");
    check(&[("given name", &"x".repeat(4_001))], Weight::Error, "more than 4000 characters");
    let mut namesakes = example();
    edit(&mut namesakes, "children", 1, "guardian 1 name", "EXAMPLE  Guardian-One");
    told_of(&namesakes, Weight::Warning, "children", Some(2), "rows 2 and 3 name guardians the same");
    let mut emoji = example();
    edit(&mut emoji, "children", 1, "given name", "Ximena 🎭👨‍👩‍👧");
    let (season, problems) = reading::season(&emoji);
    assert_eq!(problems, vec![]);
    assert_eq!(season.unwrap().children[1].given, "Ximena 🎭👨‍👩‍👧");
}

#[test]
fn events_orders_and_duties_are_judged() {
    let check = |sheet: &str, row: usize, changes: &[(&str, &str)], weight: Weight, words: &str| {
        let mut book = example();
        for (column, text) in changes {
            edit(&mut book, sheet, row, column, text);
        }
        let number = book.rows(sheet)[row].number;
        told_of(&book, weight, sheet, Some(number), words);
    };
    check("events", 0, &[("date", "2030-02-30")], Weight::Error, "not exist");
    check("events", 0, &[("date", "04/06/2030")], Weight::Error, "day first or as month first");
    check("events", 0, &[("call", "18:30")], Weight::Error, "called after the event starts");
    check("events", 0, &[("call", "5:00")], Weight::Error, "hours before it starts");
    check("events", 0, &[("kind", "premiere")], Weight::Error, "is not a word for this column");
    check("events", 0, &[("place", "Exampel Theatre")], Weight::Error, "not on the sheet 'places'");
    check("events", 0, &[("ends", "17:30")], Weight::Error, "ends before it starts");
    check("events", 0, &[("dismissal", "whenever")], Weight::Error, "when children may leave");
    check("events", 0, &[("dismissal", "17:00")], Weight::Error, "dismissed before");
    check("events", 0, &[("cast", "Sun")], Weight::Warning, "no child is in this cast");
    check(
        "events",
        1,
        &[("name", "Example Dress Rehearsal"), ("date", "2030-06-13")],
        Weight::Error,
        "same day",
    );
    let weekly = |rule: &'static str, until: &'static str| [("repeats", rule), ("repeats until", until)];
    for (rule, until, words) in [
        ("Tuesdays", "2030-07-30", "neither five fields"),
        ("45 16 * *", "2030-07-30", "has 4 fields"),
        ("45 16 * * 7", "2030-07-30", "not a day of the week"),
        ("0,30 16 * * 2", "2030-07-30", "more than once on a day"),
        ("0 18 30 2 *", "2030-07-30", "never takes place from 2030-06-14"),
        ("Tuesdays at 16:45", "2030-06-17", "never takes place"),
        ("daily at 18:00", "2031-07-30", "more than 120 times"),
        ("Tuesdays at 16:45", "2030-06-13", "before the first"),
        ("Tuesdays at 16:45", "", "the last day it takes place"),
        ("Tuesdays at 16:45", "whenever", "not a date"),
        ("Tuesdays at 0:30", "2030-07-30", "called on another day"),
    ] {
        check("events", 1, &weekly(rule, until), Weight::Error, words);
    }
    let off = [
        weekly("Fridays at 18:00", "2030-07-30")[0],
        ("repeats until", "2030-07-30"),
        ("not on", "2030-06-15"),
    ];
    check("events", 1, &off, Weight::Error, "not one of the days on which it would");
    check("events", 1, &[("repeats until", "2030-07-30")], Weight::Hint, "since 'repeats' is empty");
    check(
        "events",
        1,
        &[("repeats", "Fridays at 18:00"), ("repeats until", "2030-07-30"), ("ends", "17:59")],
        Weight::Error,
        "ends before it starts",
    );
    let mut book = example();
    for (column, text) in weekly("Fridays at 18:00", "2030-07-30") {
        edit(&mut book, "events", 1, column, text);
    }
    told_of(&book, Weight::Error, "running order", Some(5), "a running order is for one day");
    check("numbers", 1, &[("name", "example opening")], Weight::Error, "another number");
    check("numbers", 1, &[("length", "45:00")], Weight::Hint, "unusual");
    check("numbers", 1, &[("length", "2:75")], Weight::Error, "59 seconds");
    check("ways", 0, &[("walk minutes", "20-15")], Weight::Error, "longer walk to the shorter");
    check("ways", 0, &[("walk minutes", "")], Weight::Error, "no time to park by");
    check("running order", 1, &[("place", "1")], Weight::Error, "taken by row 2");
    check("running order", 2, &[("place", "5")], Weight::Hint, "after place 2 comes place 5");
    check("running order", 2, &[("call", "19:00")], Weight::Warning, "called after the event is over");
    check("running order", 2, &[("number", "Example Opening")], Weight::Error, "in row 2 too");
    check("running order", 2, &[("number", "Example Fnale")], Weight::Error, "not on the sheet 'numbers'");
    check("duties", 0, &[("chaperone", "Nobody")], Weight::Error, "not on the sheet 'chaperones'");
    check(
        "duties",
        1,
        &[("chaperone", "Example Chaperone-One"), ("number", "Example Opening")],
        Weight::Hint,
        "listed already",
    );
    check("chaperones", 0, &[("vetted until", "2030-06-13")], Weight::Warning, "before 'Example Show'");
    check(
        "chaperones",
        0,
        &[("speaks", "es; some Polish")],
        Weight::Error,
        "'some Polish' is not a language code",
    );
    check("children", 0, &[("new", "perhaps")], Weight::Error, "yes");
    check(
        "chaperones",
        0,
        &[("vetted until", "")],
        Weight::Warning,
        "the workbook has no vetting for 1 chaperone",
    );
    check("house rules", 0, &[("language", "es")], Weight::Error, "season's language");
    check("notices", TOMORROW, &[("at", "")], Weight::Error, "time of day beside");
    check(
        "notices",
        TOMORROW,
        &[("minutes before", "60")],
        Weight::Error,
        "days with a time and minutes are both",
    );
    check("notices", TOMORROW, &[("days before", ""), ("at", "")], Weight::Error, "when the notice goes");
    check("notices", TOMORROW, &[("about", "Exmple Show")], Weight::Error, "not on the sheet 'events'");
    check("notices", TOMORROW, &[("about", "season")], Weight::Error, "no call or curtain");
    check("notices", TOMORROW, &[("counted from", "park-by")], Weight::Error, "not something to count from");
    check("notices", TOMORROW, &[("wording", "poem")], Weight::Error, "is not a word for this column");
    // A number nobody looks after, and one chaperone at two events of one hour.
    let mut book = example();
    book.sheet_mut("duties").rows.pop();
    told_of(&book, Weight::Warning, "events", Some(2), "at 'Example Dress Rehearsal' and 'Example Show'");
    edit(&mut book, "events", 1, "date", "2030-06-13");
    told_of(&book, Weight::Warning, "duties", Some(2), "which overlap");
    told_of(&book, Weight::Warning, "children", Some(2), "2 children (rows 2 and 3) are wanted at");
    let at = add_copy(&mut book, "running order", 0);
    edit(&mut book, "running order", at, "place", "2");
    edit(&mut book, "running order", at, "number", "Nothing");
    let before = reading::season(&book).1.iter().filter(|p| p.weight == Weight::Error).count();
    edit(&mut book, "events", 0, "date", "never");
    let after: Vec<_> = reading::season(&book).1.into_iter().filter(|p| p.weight == Weight::Error).collect();
    assert_eq!(after.len(), before + 1, "one cause is told once: {after:#?}");
}

#[test]
fn all_problems_are_told_at_once() {
    let mut book = example();
    set_setting(&mut book, "zone", "Nowhere");
    edit(&mut book, "events", 0, "date", "someday");
    edit(&mut book, "children", 0, "numbers", "Nothing");
    edit(&mut book, "notices", 0, "at", "late");
    let (season, problems) = reading::season(&book);
    assert!(season.is_none());
    let sheets: std::collections::BTreeSet<&str> =
        problems.iter().filter(|p| p.weight == Weight::Error).map(|p| p.sheet.as_str()).collect();
    assert_eq!(sheets.into_iter().collect::<Vec<_>>(), ["children", "events", "notices", "season"]);
}

#[test]
fn households_follow_names_and_siblings() {
    let person = |n: usize, name: &str, household: &str| {
        vec![
            (format!("guardian {n} name"), name.to_owned()),
            (format!("guardian {n} e-mail"), format!("{}@example.com", name.to_lowercase())),
            (format!("guardian {n} household"), household.to_owned()),
        ]
    };
    let check = |rows: &[Vec<Vec<(String, String)>>], expect: &[&[&str]]| {
        let mut book = example();
        let sheet = &mut book.sheet_mut("children").rows;
        sheet.clear();
        for (at, people) in (0_u32..).zip(rows) {
            let mut row = Row { number: at + 2, ..Row::default() };
            for (column, text) in [
                ("given name".to_owned(), format!("Child{at}")),
                ("family name".to_owned(), "Example".to_owned()),
                ("numbers".to_owned(), "Example Finale".to_owned()),
            ]
            .iter()
            .chain(people.iter().flatten())
            {
                row.set(column, text.clone());
            }
            sheet.push(row);
        }
        let (season, problems) = reading::season(&book);
        let season = season.unwrap_or_else(|| panic!("{problems:#?}"));
        let mut homes = vec![std::collections::BTreeSet::new(); season.households.len()];
        for care in season.cares.iter().filter(|care| !care.who.is_chaperone()) {
            homes[care.household.at()].insert(season.guardians[care.guardian.at()].name.clone());
        }
        let mut homes: Vec<Vec<String>> = homes.into_iter().map(|h| h.into_iter().collect()).collect();
        homes.retain(|home| !home.is_empty());
        homes.sort();
        assert_eq!(
            homes,
            expect.iter().map(|h| h.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>()).collect::<Vec<_>>()
        );
    };
    check(&[vec![person(1, "Ana", ""), person(2, "Ben", "")]], &[&["Ana", "Ben"]]);
    check(&[vec![person(1, "Ana", ""), person(2, "Ben", "dad")]], &[&["Ana"], &["Ben"]]);
    // Two families that use the same word do not become one household.
    check(&[vec![person(1, "Ana", "home")], vec![person(1, "Cho", "home")]], &[&["Ana"], &["Cho"]]);
    check(
        &[vec![person(1, "Ana", ""), person(2, "Ben", "")], vec![person(1, "Ben", ""), person(2, "Cho", "")]],
        &[&["Ana", "Ben", "Cho"]],
    );
    // Named apart stays apart, whatever a blank elsewhere says.
    check(
        &[
            vec![person(1, "Ana", "one"), person(2, "Ben", "two")],
            vec![person(1, "Ana", ""), person(2, "Ben", "")],
        ],
        &[&["Ana"], &["Ben"]],
    );
}

#[test]
fn a_season_of_350_children_is_checked_in_under_a_second() {
    let mut book = example();
    let sheet = book.sheet_mut("children");
    let pattern = sheet.rows[0].clone();
    for at in 0..350_u32 {
        let mut row = pattern.clone();
        row.number = at + 4;
        row.set("given name", format!("Given{at}"));
        // Numbers reserved for fiction: 07700 900000 to 900999 (Ofcom).
        row.set("guardian 1 mobile", format!("07700 900{at:03}"));
        row.set("guardian 1 name", format!("Guardian {at}"));
        row.set("guardian 1 e-mail", format!("g{at}@example.com"));
        row.set("guardian 2 name", format!("Other {}", at / 2));
        row.set("guardian 2 e-mail", format!("o{}@example.com", at / 2));
        sheet.rows.push(row);
    }
    in_file(&book, |path| {
        let mut best = f64::MAX;
        let mut checked = Checked { book: Book::default(), season: None, problems: Vec::new() };
        // The best of three: other work on the machine is not what is measured.
        for _ in 0..3 {
            let start = std::time::Instant::now();
            checked = workbook::check(path);
            best = best.min(start.elapsed().as_secs_f64());
        }
        assert!(!checked.has_errors(), "{:#?}", checked.problems);
        let season = checked.season.unwrap();
        assert_eq!((season.children.len(), season.families().len()), (352, 528));
        assert!(
            checked.problems.len() < 10,
            "hundreds of like warnings are told as one: {:#?}",
            checked.problems
        );
        assert!(best < 1.0, "{best} s");
    });
}
