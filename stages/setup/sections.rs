//! Checks of the authors' own sections of the report: their files are there, inside the study, of a kind that can be
//! set. Nothing here opens one.

use crate::setup::document::{OwnSection, Report};
use crate::setup::files::Folder;
use crate::setup::source::Problems;

/// All sections.
pub(super) fn check(report: &Report, folder: &Folder, problems: &mut Problems<'_>) {
    for (index, section) in report.sections.iter().enumerate() {
        let path = format!("report.sections[{}]", index + 1);
        one(section, &path, folder, problems);
    }
}

fn one(section: &OwnSection, path: &str, folder: &Folder, problems: &mut Problems<'_>) {
    if section.title.trim().is_empty() {
        problems.add(&format!("{path}.title"), "a section has no title", None);
    }
    if !section.file.ends_with(".typ") && !section.file.ends_with(".txt") {
        let help = "name it `.typ` where it is Typst, `.txt` where it is plain text";
        let message = format!("`{}` is neither Typst nor plain text", section.file);
        problems.add(&format!("{path}.file"), message, Some(help.to_owned()));
    }
    folder.named(&format!("{path}.file"), &section.file, problems);
    for (index, file) in section.uses.iter().enumerate() {
        folder.named(&format!("{path}.uses[{}]", index + 1), file, problems);
    }
}
