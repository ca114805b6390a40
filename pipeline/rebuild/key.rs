//! What is hashed into a key, and in which form.

use crate::graph::Node;
use crate::stage::{Settings, Task};
use crate::store::FORMAT;
use crate::store::digest::{Digest, Fields};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::Arc;

/// The key of a task without the content of its inputs: format of the store, stage, code, tool, settings by role,
/// names of inputs and outputs, and where the outputs are kept.
fn partial(task: &Task, canonicals: &mut Canonicals) -> Digest {
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
        fields.add(canonicals.of(&group.value));
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
    let mut canonicals = Canonicals::default();
    nodes.iter().map(|node| partial(node.task, &mut canonicals)).collect()
}

/// The canonical form of values that many tasks share, each written once. They are told apart by where they stand in
/// memory, which holds as long as the tasks do.
#[derive(Default)]
struct Canonicals(BTreeMap<*const Value, String>);

impl Canonicals {
    fn of(&mut self, value: &Arc<Value>) -> &str {
        self.0.entry(Arc::as_ptr(value)).or_insert_with(|| canonical(value))
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stage::{Input, Output, Produced, Source, Tool};
    use serde_json::json;

    fn task() -> Task {
        Task {
            stage: "count",
            of: "raw/a.txt".into(),
            variant: None,
            code: "c1",
            settings: vec![
                Settings::new("one", "stages.one", &json!({"x": 1.5, "a": {"d": [1, 2], "b": "t"}})),
                Settings::new("two", "stages.two", &json!(true)),
            ],
            inputs: ["p", "q"].map(|name| Input { name: name.into(), source: Source::Raw("raw/a.txt".into()) }).into(),
            tool: Some(Tool { name: "pen", version: "1".into(), path: None }),
            outputs: vec![Output { name: "count", bulky: false }],
            work: |_| Ok(Produced::default()),
        }
    }

    fn with(change: impl FnOnce(&mut Task)) -> Digest {
        let mut task = task();
        change(&mut task);
        of(&task)
    }

    fn of(task: &Task) -> Digest {
        partial(task, &mut Canonicals::default())
    }

    fn value(task: &mut Task, at: usize) -> &mut Value {
        Arc::get_mut(&mut task.settings[at].value).unwrap()
    }

    #[test]
    fn what_counts_changes_the_key() {
        let changed = [
            of(&task()),
            with(|t| t.stage = "counts"),
            with(|t| t.code = "c2"),
            with(|t| value(t, 0)["x"] = json!(1.25)),
            with(|t| value(t, 0)["a"]["d"] = json!([2, 1])),
            with(|t| *value(t, 1) = json!("true")),
            with(|t| t.settings[1].role = "three"),
            with(|t| drop(t.settings.pop())),
            with(|t| t.inputs[1].name = "r".into()),
            with(|t| t.inputs.swap(0, 1)),
            with(|t| t.tool = None),
            with(|t| t.tool.as_mut().unwrap().version = "2".into()),
            with(|t| t.outputs[0].name = "sum"),
            with(|t| t.outputs[0].bulky = true),
        ];
        let different: std::collections::BTreeSet<_> = changed.iter().collect();
        assert_eq!(different.len(), changed.len());
        let (p, a, b) = (changed[0], Digest::of(b"a"), Digest::of(b"b"));
        let keys = [key(&p, &[a, b]), key(&p, &[b, a]), key(&p, &[a]), key(&p, &[]), key(&changed[1], &[a, b])];
        assert_eq!(keys.iter().collect::<std::collections::BTreeSet<_>>().len(), keys.len());
    }

    #[test]
    fn what_does_not_count_leaves_the_key() {
        let same = [
            with(|t| t.of = "raw/b.txt".into()),
            with(|t| t.variant = Some("strict".into())),
            with(|t| t.settings.swap(0, 1)),
            with(|t| t.settings[0].path = "elsewhere".into()),
            with(|t| t.inputs[0].source = Source::Raw("raw/b.txt".into())),
            with(|t| t.tool.as_mut().unwrap().path = Some("/usr/bin/pen".into())),
        ];
        assert!(same.iter().all(|digest| *digest == of(&task())));
    }

    #[test]
    fn canonical_json_is_sorted_and_dense() {
        let value = json!({"b": [1.0, null, "ä\"\n"], "a": {"d": 1e-9, "c": false}});
        assert_eq!(canonical(&value), r#"{"a":{"c":false,"d":1e-9},"b":[1.0,null,"ä\"\n"]}"#);
    }
}
