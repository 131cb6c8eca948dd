//! The JSON is what its own schema says, and nothing else.
//!
//! The checker knows the part of JSON Schema that our schema uses, and fails on any word that it does not know, so that
//! nothing passes unread. Stricter than the standard in one thing: a key that the schema does not name is refused.

use closerun::report::document::Distribution;
use closerun::report::json;
use serde_json::{Map, Value};

use crate::samples::{corrected, day, long};

/// What `value` breaks of `schema`; `root` holds the definitions.
fn broken(root: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    let Some(schema) = schema.as_object() else {
        assert_eq!(schema, &Value::Bool(true), "a schema at {at}");
        return;
    };
    for (word, rule) in schema {
        match word.as_str() {
            "$schema" | "title" | "description" | "$defs" | "format" => {}
            "$ref" => {
                let name = rule.as_str().unwrap().strip_prefix("#/$defs/").unwrap();
                broken(root, &root["$defs"][name], value, at, found);
            }
            "type" => {
                let names = rule.as_array().cloned().unwrap_or_else(|| vec![rule.clone()]);
                if !names.iter().any(|name| is_type(value, name.as_str().unwrap())) {
                    found.push(format!("{at}: {value} is no {rule}"));
                }
            }
            "const" if value != rule => found.push(format!("{at}: {value} is not {rule}")),
            "enum" if !rule.as_array().unwrap().contains(value) => found.push(format!("{at}: {value} in no {rule}")),
            "const" | "enum" => {}
            "minimum" => {
                if value.as_f64().is_some_and(|number| number < rule.as_f64().unwrap()) {
                    found.push(format!("{at}: {value} below {rule}"));
                }
            }
            "maximum" => {
                if value.as_f64().is_some_and(|number| number > rule.as_f64().unwrap()) {
                    found.push(format!("{at}: {value} above {rule}"));
                }
            }
            "anyOf" | "oneOf" => {
                let fits = |choice: &&Value| {
                    let mut inner = Vec::new();
                    broken(root, choice, value, at, &mut inner);
                    inner.is_empty()
                };
                let fitting = rule.as_array().unwrap().iter().filter(fits).count();
                if fitting == 0 || (word == "oneOf" && fitting > 1) {
                    found.push(format!("{at}: {value} fits {fitting} of {word}"));
                }
            }
            "items" => {
                for (index, item) in value.as_array().into_iter().flatten().enumerate() {
                    broken(root, rule, item, &format!("{at}[{index}]"), found);
                }
            }
            "properties" => object(root, schema, value, at, found),
            "required" => {
                for key in rule.as_array().unwrap() {
                    if value.is_object() && value.get(key.as_str().unwrap()).is_none() {
                        found.push(format!("{at}: {key} is missing"));
                    }
                }
            }
            other => panic!("{at}: the checker does not know {other:?}"),
        }
    }
}

fn object(root: &Value, schema: &Map<String, Value>, value: &Value, at: &str, found: &mut Vec<String>) {
    let Some(object) = value.as_object() else { return };
    for (key, inner) in object {
        match schema["properties"].get(key) {
            Some(rule) => broken(root, rule, inner, &format!("{at}.{key}"), found),
            None => found.push(format!("{at}: {key} is not in the schema")),
        }
    }
}

fn is_type(value: &Value, name: &str) -> bool {
    match name {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "string" => value.is_string(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        other => panic!("no type {other}"),
    }
}

fn faults(value: &Value) -> Vec<String> {
    faults_by(&json::schema(), value)
}

fn faults_by(schema: &Value, value: &Value) -> Vec<String> {
    let mut found = Vec::new();
    broken(schema, schema, value, "$", &mut found);
    found
}

#[test]
fn every_job_is_what_the_schema_says() {
    for job in [day(), day().simulated(), corrected(), long(12)] {
        for distribution in [Distribution::ByLength, Distribution::BySetups, Distribution::None] {
            let mut options = job.options();
            options.distribution = distribution;
            let value: Value = serde_json::from_str(&json::print(&job.document(options))).unwrap();
            assert_eq!(faults(&value), Vec::<String>::new());
            assert_eq!(value["schema"], 1);
        }
        let report: Value = serde_json::from_str(&json::print_report(&job.report(job.report_options()))).unwrap();
        assert_eq!(faults_by(&json::report_schema(), &report), Vec::<String>::new());
    }
}

#[test]
fn the_checker_finds_what_is_wrong() {
    let job = day();
    let good: Value = serde_json::from_str(&json::print(&job.document(job.options()))).unwrap();
    let spoil = |spoil: fn(&mut Value)| {
        let mut value = good.clone();
        spoil(&mut value);
        faults(&value).len()
    };
    assert_eq!(spoil(|_| {}), 0);
    assert!(spoil(|value| value["runs"][0]["number"] = "one".into()) > 0);
    assert!(spoil(|value| value["readings"][0]["role"] = "sideways".into()) > 0);
    assert!(spoil(|value| value["readings"][0]["more"] = 1.into()) > 0);
    assert!(spoil(|value| value["runs"][0]["lines"][0]["elevation"]["shown"] = 52.348.into()) > 0);
    assert!(spoil(|value| drop(value.as_object_mut().unwrap().remove("cautions"))) > 0);
}

#[test]
fn every_field_is_described() {
    fn walk(value: &Value, at: &str, bare: &mut Vec<String>) {
        if let Some(properties) = value.get("properties").and_then(Value::as_object) {
            let undescribed = properties.iter().filter(|(_, field)| field.get("description").is_none());
            bare.extend(undescribed.map(|(key, _)| format!("{at}.{key}")));
        }
        for (key, inner) in value.as_object().into_iter().flatten() {
            walk(inner, &format!("{at}.{key}"), bare);
        }
    }
    let mut bare = Vec::new();
    walk(&json::schema(), "$", &mut bare);
    walk(&json::report_schema(), "$", &mut bare);
    assert_eq!(bare, Vec::<String>::new());
}
