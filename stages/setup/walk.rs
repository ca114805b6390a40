//! Settings beside their JSON Schema: each leaf with its value, meaning, unit and range. One walk serves the
//! check of ranges and the list of settings.

use serde_json::Value;

/// One setting.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Leaf {
    /// Path in the study file.
    pub path: String,
    /// Value in force; a rule that is on is `true`, its settings are leaves of their own.
    pub value: Value,
    /// What it is.
    pub meaning: String,
    /// Its unit.
    pub unit: Option<String>,
    /// Smallest and largest value.
    pub bounds: (Option<f64>, Option<f64>),
    /// The words to choose from.
    pub sensitivity: Vec<String>,
}

impl Leaf {
    /// The bounds in words.
    pub(super) fn range(&self) -> Option<String> {
        match self.bounds {
            (Some(low), Some(high)) => Some(format!("{low} to {high}")),
            (Some(low), None) => Some(format!("from {low}")),
            (None, Some(high)) => Some(format!("to {high}")),
            (None, None) if self.sensitivity.is_empty() => None,
            (None, None) => Some(self.sensitivity.join(" | ")),
        }
    }

    /// The first number of the value, itself or of its list, that is out of bounds.
    pub(super) fn out_of_bounds(&self) -> Option<f64> {
        let outside =
            |x: &f64| self.bounds.0.is_some_and(|low| *x < low) || self.bounds.1.is_some_and(|high| *x > high);
        let numbers = match &self.value {
            Value::Array(items) => items.as_slice(),
            value => std::slice::from_ref(value),
        };
        numbers.iter().filter_map(Value::as_f64).find(outside)
    }
}

/// All leaves of `value`, which `schema` describes; definitions are those of `root`.
pub(super) fn leaves(root: &Value, schema: &Value, path: &str, value: &Value) -> Vec<Leaf> {
    let mut found = Vec::new();
    Walk { root, found: &mut found }.visit(schema, path.to_owned(), value);
    found
}

struct Walk<'a> {
    root: &'a Value,
    found: &'a mut Vec<Leaf>,
}

impl<'a> Walk<'a> {
    fn visit(&mut self, schema: &'a Value, path: String, value: &Value) {
        let target = self.resolve(schema);
        let options: Vec<&Value> = target["anyOf"].as_array().into_iter().flatten().map(|s| self.resolve(s)).collect();
        let Value::Object(entries) = value else { return self.leaf(schema, target, path, value) };
        if options.iter().any(|option| option["type"] == "boolean") {
            self.leaf(schema, target, path.clone(), &Value::Bool(true));
        }
        let group = options.into_iter().find(|option| option["type"] == "object").unwrap_or(target);
        if entries.is_empty() {
            return self.leaf(schema, target, path, value);
        }
        for (key, value) in entries {
            let named = &group["properties"][key];
            let inner = if named.is_null() { &group["additionalProperties"] } else { named };
            self.visit(inner, format!("{path}.{key}"), value);
        }
    }

    fn leaf(&mut self, schema: &Value, target: &Value, path: String, value: &Value) {
        let outer = |key: &str| if schema[key].is_null() { target[key].clone() } else { schema[key].clone() };
        let text = |key: &str| outer(key).as_str().map(str::to_owned);
        let numbers = if target["items"].is_null() { target } else { self.resolve(&target["items"]) };
        let bound = |key: &str| outer(key).as_f64().or_else(|| numbers[key].as_f64());
        self.found.push(Leaf {
            path,
            value: value.clone(),
            meaning: text("description").unwrap_or_default(),
            unit: text("x-unit"),
            bounds: (bound("minimum"), bound("maximum")),
            sensitivity: sensitivity(numbers),
        });
    }

    /// What a reference points to.
    fn resolve(&self, schema: &'a Value) -> &'a Value {
        let name = schema["$ref"].as_str().and_then(|r| r.strip_prefix("#/$defs/"));
        name.map_or(schema, |name| self.resolve(&self.root["$defs"][name]))
    }
}

/// The words of an enum, documented or not, also where null is one of the choices.
fn sensitivity(schema: &Value) -> Vec<String> {
    let list = |key: &str| schema[key].as_array().into_iter().flatten();
    let plain = list("enum").filter_map(Value::as_str);
    let documented = list("oneOf").filter_map(|option| option["const"].as_str());
    let documented_groups = list("oneOf").flat_map(|option| option["enum"].as_array().into_iter().flatten());
    plain.chain(documented).chain(documented_groups.filter_map(Value::as_str)).map(str::to_owned).collect()
}
