//! Checks of the authors' own sections of the report: their files are there, inside the study, of a kind that can be
//! set. Nothing here opens one.

use crate::near_miss::nearest;
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
    there(&section.file, &format!("{path}.file"), folder, problems);
    for (index, file) in section.uses.iter().enumerate() {
        there(file, &format!("{path}.uses[{}]", index + 1), folder, problems);
    }
}

fn there(file: &str, path: &str, folder: &Folder, problems: &mut Problems<'_>) {
    if !folder.holds(file) {
        let near = nearest(file, folder.files());
        let help = near.map_or_else(
            || "write its path from the folder of the study file downwards, with `/`".to_owned(),
            |near| format!("did you mean `{near}`?"),
        );
        problems.add(path, format!("there is no file `{file}` in the study"), Some(help));
    } else if folder.leads_out(file) {
        let help = "copy it into the study: everything that a report rests on lies in its folder";
        problems.add(path, format!("`{file}` is a link out of the study"), Some(help.to_owned()));
    }
}
