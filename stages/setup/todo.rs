//! What of a study is not filled in yet: every value that still says `TODO`. It knows no values that are.

use crate::setup::source::Source;
use pipeline::diagnostic::Diagnostic;

/// The mark of what only the person knows.
pub(super) const MARK: &str = "TODO";

/// Tells all that is left, at once: such a study cannot be judged further.
///
/// # Errors
/// One problem for each value with the mark, in the order of the file.
pub(super) fn none_left(source: &Source) -> Result<(), Vec<Diagnostic>> {
    let left: Vec<&String> =
        source.leaves().iter().filter(|(_, leaf)| marked(&leaf.text)).map(|(path, _)| path).collect();
    // A list is a leaf beside its items: only the innermost is told.
    let innermost = left.iter().filter(|path| {
        let inside = format!("{path}[");
        !left.iter().any(|other| other.starts_with(&inside))
    });
    let mut found: Vec<Diagnostic> = innermost.map(|path| unfinished(path, source)).collect();
    found.sort_by_key(|problem| problem.place.as_ref().map(|place| (place.line, place.column)));
    let Some(last) = found.last_mut() else { return Ok(()) };
    // The same for all of them, so it is said once.
    last.help = Some(format!(
        "put what you know in the place of each `{MARK}`, or take its key out; `shearback schema` tells what it means"
    ));
    Err(found)
}

fn marked(text: &str) -> bool {
    text.split(|c: char| !c.is_alphanumeric()).any(|word| word == MARK)
}

fn unfinished(path: &str, source: &Source) -> Diagnostic {
    Diagnostic::new(format!("`{path}` is still to be filled in")).at(source.place(path))
}
