//! `allheard bring`: puts a workbook in force, after showing what it changes.

use super::start::state;
use super::{ConfigFile, Exit, agreed, block_on_exit, check, say, tell};
use crate::app::{House, open};
use crate::domain::changes::ChangeKind;
use crate::domain::season::Channel;
use crate::service::bringing::{BringFault, Bringing};
use crate::workbook;
use std::path::PathBuf;

/// Lines of changes shown before the rest is only counted.
const CHANGES_SHOWN: usize = 40;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    #[command(flatten)]
    config: ConfigFile,
    /// Load it without asking.
    #[arg(long)]
    yes: bool,
    /// Load it although it empties or halves a list: the number of entries deleted, as shown.
    #[arg(long, value_name = "ENTRIES")]
    so_few: Option<usize>,
    /// Also write the workbook to this file, with every ref filled in.
    #[arg(long, value_name = "FILE")]
    returned: Option<PathBuf>,
}

pub(super) fn run(options: &Options) -> Exit {
    let Some(config) = options.config.read() else { return Exit::Config };
    let (book, problems) = match workbook::read(&options.file) {
        Ok(read) => read,
        Err(problem) => {
            check::show(&[problem]);
            return Exit::Wrong;
        }
    };
    block_on_exit(async {
        let house = match open(&config).await {
            Ok(house) => house,
            Err(fault) => {
                tell(fault);
                return Exit::Unreachable;
            }
        };
        let bringing = match house.preview(book, problems).await {
            Ok(bringing) => bringing,
            Err(fault) => {
                tell(fault);
                return Exit::Wrong;
            }
        };
        let exit = take_in(&house, &bringing, options).await;
        if exit == Exit::Done
            && let Ok(token) = house.coordinator_link().await
        {
            tell(format!("coordinator: {}/enter/{token}", config.pages.address));
            match state(&house).await {
                Ok(state) => tell(state),
                Err(fault) => tell(fault),
            }
        }
        house.store.close().await;
        exit
    })
}

async fn take_in(house: &House, bringing: &Bringing, options: &Options) -> Exit {
    show(bringing);
    if bringing.has_errors() || !bringing.questions.is_empty() {
        tell("nothing was loaded");
        return Exit::Wrong;
    }
    if !bringing.changes.is_empty() && !options.yes && !agreed("load this?", "add --yes to load it") {
        tell("nothing was loaded");
        return Exit::Wrong;
    }
    let taken = match options.so_few {
        Some(going) => house.bring_held(bringing, going).await,
        None => house.bring(bringing).await,
    };
    match taken {
        Ok(brought) => {
            tell(format!(
                "revision {}: {} changes; {} messages planned, {} withdrawn, {} moved",
                brought.revision,
                brought.changed,
                brought.planned.added,
                brought.planned.withdrawn,
                brought.planned.moved
            ));
        }
        Err(fault) => {
            tell(&fault);
            if let BringFault::Held { going, .. } = &fault {
                tell(format!("if that is right, check once more and add --so-few {going}"));
            }
            let unreachable = matches!(fault, BringFault::Office(_));
            return if unreachable { Exit::Unreachable } else { Exit::Wrong };
        }
    }
    let Some(file) = &options.returned else { return Exit::Done };
    match workbook::write(&bringing.book, file) {
        Ok(()) => {
            tell(format!("wrote {} with refs", file.display()));
            Exit::Done
        }
        Err(fault) => {
            tell(format!("{} was not written: {fault}", file.display()));
            Exit::Wrong
        }
    }
}

fn show(bringing: &Bringing) {
    for line in &bringing.summary {
        say(line);
    }
    if !bringing.problems.is_empty() {
        check::show(&bringing.problems);
    }
    for question in &bringing.questions {
        let candidates = question.candidates.join(", ");
        say(format!(
            "question: {}, row {}: {} {} Write its ref into the sheet: {candidates}",
            question.sheet, question.row, question.reason, question.cure
        ));
    }
    // Everything is new in the first workbook: the summary has told it.
    let first = !bringing.summary.is_empty();
    for change in bringing.changes.iter().take(if first { 0 } else { CHANGES_SHOWN }) {
        let kind = match change.kind {
            ChangeKind::Added => "new",
            ChangeKind::Changed => "changed",
            ChangeKind::Gone => "gone",
        };
        say(format!("{kind}: {} {} {}", change.what, change.name, change.detail));
    }
    if bringing.changes.len() > CHANGES_SHOWN && !first {
        say(format!("and {} more changes", bringing.changes.len() - CHANGES_SHOWN));
    }
    for fall in &bringing.falls {
        say(format!("asked again: {}: {} ({} answers)", fall.name, fall.what, fall.count));
    }
    if bringing.changes.is_empty() {
        say("nothing changes");
    }
    let foreseen = &bringing.foreseen;
    let counts =
        [(&foreseen.added, "planned"), (&foreseen.withdrawn, "withdrawn"), (&foreseen.moved, "moved")];
    for (messages, what) in counts.into_iter().filter(|(messages, _)| !messages.is_empty()) {
        let mails = messages.iter().filter(|message| message.channel == Channel::Mail).count();
        say(format!("messages {what}: {mails} mails, {} texts", messages.len() - mails));
    }
    for papers in &bringing.papers {
        say(format!("print again: {}: {}", papers.event, papers.sheets.join(", ")));
    }
    for hold in &bringing.holds {
        say(format!("held: {}", hold.words()));
    }
}
