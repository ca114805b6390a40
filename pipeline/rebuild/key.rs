//! What is hashed into a key, and in which form.

use crate::graph::Node;
use crate::stage::{Settings, Task};
use crate::store::FORMAT;
use crate::store::digest::{Digest, Fields};
use serde_json::Value;
use std::fmt::Write;

/// The key of a task without the content of its inputs: format of the store, stage, code, tool, settings by role,
/// names of inputs and outputs, and where the outputs are kept.
pub fn partial(task: &Task) -> Digest {
    let mut fields = Fields::new();
    fields.add(FORMAT.to_le_bytes());
    fields.add(task.stage);
    fields.add(task.code);
    fields.count(usize::from(task.tool.is_some()));
    if let Some(tool) = &task.tool {
        fields.add(tool.name);
        fields.add(&tool.version);
    }
    let mut settings: Vec<&Settings> = task.settings.iter().collect();
    settings.sort_by_key(|group| group.role);
    fields.count(settings.len());
    for group in settings {
        fields.add(group.role);
        fields.add(canonical(&group.value));
    }
    fields.count(task.inputs.len());
    task.inputs.iter().for_each(|input| fields.add(&input.name));
    fields.count(task.outputs.len());
    for output in &task.outputs {
        fields.add(output.name);
        fields.count(usize::from(output.bulky));
    }
    fields.digest()
}

/// The key: the partial key and the content of the inputs in their declared order, which the work can see.
pub fn key(partial: &Digest, inputs: &[Digest]) -> Digest {
    let mut fields = Fields::new();
    fields.add_digest(partial);
    inputs.iter().for_each(|hash| fields.add_digest(hash));
    fields.digest()
}

/// The partial keys of all tasks, in their order.
pub fn partials(nodes: &[Node<'_>]) -> Vec<Digest> {
    nodes.iter().map(|node| partial(node.task)).collect()
}

/// JSON in one form: keys sorted by their bytes, no white space, numbers as serde writes them.
pub fn canonical(value: &Value) -> String {
    let mut text = String::new();
    write_canonical(value, &mut text);
    text
}

// Sorted here and not left to serde_json, whose maps keep another order if any crate in the tree asks for it.
fn write_canonical(value: &Value, text: &mut String) {
    match value {
        Value::Object(map) => {
            let mut entries: Vec<_> = map.iter().collect();
            entries.sort_by_key(|(name, _)| *name);
            text.push('{');
            for (at, (name, value)) in entries.into_iter().enumerate() {
                let comma = if at > 0 { "," } else { "" };
                let _ = write!(text, "{comma}{}:", Value::from(name.as_str()));
                write_canonical(value, text);
            }
            text.push('}');
        }
        Value::Array(items) => {
            text.push('[');
            for (at, item) in items.iter().enumerate() {
                if at > 0 {
                    text.push(',');
                }
                write_canonical(item, text);
            }
            text.push(']');
        }
        leaf => {
            let _ = write!(text, "{leaf}");
        }
    }
}
