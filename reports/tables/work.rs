//! The work of the tasks that write tables; what each is made of stands in `published.rs`.

use super::published;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced, mistake};

/// Setting `table`: the name of the table. Outputs `parquet` and `csv`.
///
/// # Errors
/// If there is no such table or an input does not fit: mistakes in the program.
pub fn work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let name: String = context.settings("table")?;
    let table = published::named(&name).ok_or_else(|| mistake(format!("there is no table `{name}`")))?;
    table.write(context)
}
