//! One call of typst in a folder of its own: no network, no system fonts, no environment, a time limit, its messages
//! read. It knows nothing of what is set.

use super::attached::OWN;
use pipeline::diagnostic::{Diagnostic, Place};
use std::collections::BTreeSet;
use std::fs;
use std::io::Read;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread;
use std::time::{Duration, Instant};

/// Time that any document may take.
const LEAST: Duration = Duration::from_secs(60);
/// Time that each page adds. An unoptimised typst takes 0.8 s of processor time for a page of the demo; on a machine with
/// much other work that may be ten times as long by the clock.
const PER_PAGE: Duration = Duration::from_secs(15);
/// How often the end, the limit and the wish to stop are looked at.
const TICK: Duration = Duration::from_millis(10);
/// Archival PDF with tags for readers who cannot see the page (ISO 19005-3 level A, ISO 14289-1).
const STANDARD: &str = "a-3a,ua-1";
const PDF: &str = "out.pdf";

/// A call: where the sources are, and the moment that stands in the PDF.
pub struct Job<'a> {
    /// The program.
    pub typst: &'a Path,
    /// Folder with `main.typ` and all that it reads.
    pub folder: &'a Path,
    /// Creation time of the PDF, seconds since 1970 UTC.
    pub timestamp: i64,
    /// When to give up.
    pub limit: Duration,
}

/// Longest that a document of about so many pages may take.
pub fn limit(pages: usize) -> Duration {
    LEAST + PER_PAGE * u32::try_from(pages).unwrap_or(u32::MAX / 5)
}

/// Sets `main.typ` and gives the bytes of the PDF.
///
/// # Errors
/// If typst refuses, takes too long, is stopped, or sets text in a font that is not there.
pub fn pdf(job: &Job<'_>, cancelled: &dyn Fn() -> bool) -> Result<Vec<u8>, Vec<Diagnostic>> {
    let empty = job.folder.join("no-packages");
    fs::create_dir_all(&empty).map_err(|e| vec![failed(&format!("{e}"))])?;
    let mut child = command(job, &empty).spawn().map_err(|e| vec![failed(&format!("{e}"))])?;
    let log = child.stderr.take().map(|mut pipe| {
        thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = pipe.read_to_end(&mut bytes);
            String::from_utf8_lossy(&bytes).into_owned()
        })
    });
    let status = wait(&mut child, job.limit, cancelled);
    let log = log.and_then(|reader| reader.join().ok()).unwrap_or_default();
    let status = status.map_err(|e| vec![e])?;
    let (errors, warnings) = messages(&log);
    let unknown_font = |d: &&Diagnostic| d.message.starts_with("unknown font family");
    match status.success() {
        true if !warnings.iter().any(|w| unknown_font(&w)) => {
            fs::read(job.folder.join(PDF)).map_err(|e| vec![failed(&format!("{PDF}: {e}"))])
        }
        // The page would silently show another font.
        true => Err(warnings.iter().filter(unknown_font).cloned().collect()),
        false if errors.is_empty() => Err(vec![failed(log.trim())]),
        false => Err(errors),
    }
}

fn failed(what: &str) -> Diagnostic {
    Diagnostic::new(format!("typst: {what}")).help("check that `typst --version` runs; TYPST names another one")
}

fn command(job: &Job<'_>, no_packages: &Path) -> Command {
    let mut command = Command::new(job.typst);
    // No variable of ours reaches it; the proxy is a closed port, so that no package can ever be fetched.
    command.env_clear().env("ALL_PROXY", "http://127.0.0.1:9").env("HTTPS_PROXY", "http://127.0.0.1:9");
    // Windows needs it to start a program at all.
    command.envs(std::env::var_os("SystemRoot").map(|root| ("SystemRoot", root)));
    command.current_dir(job.folder).arg("compile").args(["--root", "."]);
    command.args(["--ignore-system-fonts", "--diagnostic-format", "short", "--format", "pdf"]);
    command.arg("--creation-timestamp").arg(job.timestamp.to_string()).args(["--pdf-standard", STANDARD]);
    command.arg("--package-path").arg(no_packages).arg("--package-cache-path").arg(no_packages);
    command.args(["main.typ", PDF]).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
    command
}

/// Waits for the end; kills it when asked to stop or when it takes too long.
fn wait(child: &mut Child, limit: Duration, cancelled: &dyn Fn() -> bool) -> Result<ExitStatus, Diagnostic> {
    let start = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return Ok(status),
            Ok(None) => {}
            Err(e) => return Err(failed(&format!("{e}"))),
        }
        let why = if cancelled() {
            failed("stopped")
        } else if start.elapsed() > limit {
            Diagnostic::new(format!("typst: took more than {} s and was ended", limit.as_secs()))
                .help("look for a loop in a section of your own; without one, an optimised typst or a machine with less to do")
        } else {
            thread::sleep(TICK);
            continue;
        };
        // It may have ended by itself in between, which is as good.
        let _ = child.kill();
        let _ = child.wait();
        return Err(why);
    }
}

/// Errors and warnings from lines such as `main.typ:3:5: error: text`.
fn messages(log: &str) -> (Vec<Diagnostic>, Vec<Diagnostic>) {
    let with = |severity: &str| log.lines().filter_map(|line| message(line, severity)).collect();
    (with(": error: "), with(": warning: "))
}

/// The characters that no face has, as `the text "…" could not be displayed` names them: archival PDF refuses them.
pub fn without_glyph(errors: &[Diagnostic]) -> BTreeSet<char> {
    let named = |error: &Diagnostic| {
        let (_, rest) = error.message.split_once("the text `\"")?;
        Some(unescaped(rest.split_once("\"` could not be displayed")?.0))
    };
    errors
        .iter()
        .filter_map(named)
        .flat_map(|text| text.chars().collect::<Vec<_>>())
        .filter(|c| !c.is_ascii())
        .collect()
}

/// `\u{200d}` as the character itself.
fn unescaped(text: &str) -> String {
    let mut parts = text.split("\\u{");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (code, rest) = part.split_once('}').unwrap_or((part, ""));
        out.extend(u32::from_str_radix(code, 16).ok().and_then(char::from_u32));
        out.push_str(rest);
    }
    out
}

fn message(line: &str, severity: &str) -> Option<Diagnostic> {
    // What a picture holds has no place.
    if let Some(message) = line.strip_prefix(severity.trim_start_matches(": ")) {
        return Some(Diagnostic::new(message));
    }
    let (at, message) = line.split_once(severity)?;
    // From the right, because a file may have a colon in its name.
    let mut parts = at.rsplitn(3, ':');
    let (column, line, file) = (parts.next()?, parts.next()?, parts.next()?);
    let own = file.strip_prefix(OWN).and_then(|path| path.strip_prefix(['/', '\\']));
    let (file, help) = match own {
        Some(path) if message.contains("skipped from heading level") => {
            (path, "headings of a section of your own begin with a single `=`: they stand below its title")
        }
        Some(path) => (path, "mend it in this file, a section of your own"),
        None => (file, "the report's own templates should not do this; please report it"),
    };
    let place = Place { line: line.parse().ok(), column: column.parse().ok(), ..Place::file(file) };
    Some(Diagnostic::new(message).at(place).help(help))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(super) mod tests {
    use super::*;

    /// A program of a few lines of shell.
    #[cfg(unix)]
    pub(in crate::document) fn script(folder: &Path, name: &str, lines: &str) -> std::path::PathBuf {
        use std::os::unix::fs::PermissionsExt;
        let path = folder.join(name);
        fs::write(&path, format!("#!/bin/sh\n[ \"$1\" = probe ] && exit\n{lines}\n")).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
        // A child that another test starts at this instant may still hold the file open for writing.
        let busy = |e: std::io::Error| e.kind() == std::io::ErrorKind::ExecutableFileBusy;
        while Command::new(&path).arg("probe").status().is_err_and(busy) {
            thread::sleep(TICK);
        }
        path
    }

    #[cfg(unix)]
    fn set(lines: &str, stop: bool) -> Result<Vec<u8>, Vec<Diagnostic>> {
        set_within(Duration::from_secs(60), lines, stop)
    }

    #[cfg(unix)]
    fn set_within(limit: Duration, lines: &str, stop: bool) -> Result<Vec<u8>, Vec<Diagnostic>> {
        let folder = tempfile::tempdir().unwrap();
        let typst = script(folder.path(), "typst", lines);
        pdf(&Job { typst: &typst, folder: folder.path(), timestamp: 0, limit }, &|| stop)
    }

    #[cfg(unix)]
    #[test]
    fn a_typst_that_hangs_is_ended_by_a_limit_that_grows_with_the_pages() {
        let start = Instant::now();
        let error = &set_within(Duration::from_millis(50), "exec sleep 60", false).unwrap_err()[0];
        assert!(error.message.contains("was ended") && start.elapsed() < Duration::from_secs(30), "{error}");
        assert_eq!(limit(100) - limit(50), 50 * PER_PAGE);
    }

    #[test]
    fn a_mistake_in_a_section_of_the_authors_is_told_at_its_place_in_the_study() {
        let (errors, _) = messages("own/text/more.typ:3:5: error: unknown variable: x");
        let said = errors[0].to_string();
        assert!(said.starts_with("text/more.typ:3:5: unknown variable: x") && said.contains("section of your own"));
        let (errors, _) = messages("own/a.typ:1:0: error: PDF/UA-1 error: skipped from heading level 1 to 3");
        assert!(errors[0].help.as_deref().is_some_and(|h| h.contains("single `=`")));
    }

    #[cfg(unix)]
    #[test]
    fn an_unknown_font_is_an_error() {
        let warned = "echo 'main.typ:1:1: warning: unknown font family: foo' >&2; echo hi > out.pdf";
        assert!(set(warned, false).unwrap_err()[0].message.contains("unknown font family: foo"));
        assert_eq!(set("echo hi > out.pdf", false).unwrap(), b"hi\n");
    }

    #[cfg(unix)]
    #[test]
    fn a_wish_to_stop_ends_the_call() {
        let start = Instant::now();
        assert!(set("exec sleep 60", true).unwrap_err()[0].message.contains("stopped"));
        assert!(start.elapsed() < Duration::from_secs(30));
    }

    #[cfg(unix)]
    #[test]
    fn no_variable_reaches_typst() {
        let text = String::from_utf8(set("env > out.pdf", false).unwrap()).unwrap();
        assert!(!text.contains("HOME=") && text.contains("HTTPS_PROXY=http://127.0.0.1:9"), "{text}");
    }

    #[test]
    fn characters_that_no_face_has_are_found() {
        let log = "b.typ:5:24: error: PDF/A-3a error: the text `\"👨\"` could not be displayed with font `\"L\"`\n\
                   error: PDF/A-3a error: the text `\"\\u{200d}日\"` could not be displayed with font `\"L\"`";
        let (errors, _) = messages(log);
        assert_eq!(without_glyph(&errors), BTreeSet::from(['👨', '\u{200d}', '日']));
    }

    #[test]
    fn messages_are_read_with_their_place() {
        let log = "main.typ:3:5: error: unknown variable: x\nC:\\a\\t.typ:1:2: warning: unknown font family: foo\nhm";
        let (errors, warnings) = messages(log);
        assert_eq!(errors.len(), 1);
        assert_eq!(errors[0].to_string().split(" (").next(), Some("main.typ:3:5: unknown variable: x"));
        assert!(warnings[0].to_string().starts_with("C:\\a\\t.typ:1:2: unknown font family"));
    }
}
