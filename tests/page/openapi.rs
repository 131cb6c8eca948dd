//! The description of the interface, held against what is served.

use serde_json::Value;

use super::run::Run;

/// What is wrong with a value under a schema of the document. Knows what the document uses; anything else is wrong.
fn wrong(document: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    let Some(schema) = schema.as_object() else { return };
    for (word, rule) in schema {
        match &**word {
            "$ref" => {
                let target = document.pointer(rule.as_str().unwrap().strip_prefix('#').unwrap()).expect("a reference");
                wrong(document, target, value, at, found);
            }
            "type" => {
                let kinds = rule.as_array().cloned().unwrap_or_else(|| vec![rule.clone()]);
                let is = |kind: &str| match kind {
                    "null" => value.is_null(),
                    "boolean" => value.is_boolean(),
                    "integer" => value.is_u64() || value.is_i64(),
                    "number" => value.is_number(),
                    "string" => value.is_string(),
                    "array" => value.is_array(),
                    "object" => value.is_object(),
                    _ => false,
                };
                if !kinds.iter().any(|kind| is(kind.as_str().unwrap())) {
                    found.push(format!("{at}: {value} is no {rule}"));
                }
            }
            "properties" => {
                for (name, part) in value.as_object().into_iter().flatten() {
                    match rule.get(name) {
                        Some(rule) => wrong(document, rule, part, &format!("{at}.{name}"), found),
                        None => found.push(format!("{at}.{name} is not described")),
                    }
                }
            }
            "required" => {
                for name in rule.as_array().unwrap() {
                    if value.is_object() && value.get(name.as_str().unwrap()).is_none() {
                        found.push(format!("{at}.{name} is missing"));
                    }
                }
            }
            "items" => {
                for (index, item) in value.as_array().into_iter().flatten().enumerate() {
                    wrong(document, rule, item, &format!("{at}[{index}]"), found);
                }
            }
            "prefixItems" => {
                for (rule, item) in rule.as_array().unwrap().iter().zip(value.as_array().into_iter().flatten()) {
                    wrong(document, rule, item, at, found);
                }
            }
            "enum" if !rule.as_array().unwrap().contains(value) => {
                found.push(format!("{at}: {value} is none of {rule}"))
            }
            "const" if rule != value => found.push(format!("{at}: {value} is not {rule}")),
            "anyOf" | "oneOf" => {
                let fits = rule.as_array().unwrap().iter().any(|rule| {
                    let mut found = Vec::new();
                    wrong(document, rule, value, at, &mut found);
                    found.is_empty()
                });
                if !fits {
                    found.push(format!("{at}: {value} fits none of the alternatives"));
                }
            }
            "enum"
            | "const"
            | "description"
            | "title"
            | "format"
            | "minimum"
            | "maximum"
            | "minItems"
            | "maxItems"
            | "examples"
            | "additionalProperties" => {}
            _ => found.push(format!("{at}: the schema says {word}, which this test does not know")),
        }
    }
}

#[test]
fn what_is_described_is_what_is_served() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    // Out of balance, so that findings are in the state.
    run.shot("", "1.50000", "30.00", 'B');
    run.shot("", "1.40000", "37.10", 'F');
    run.state_with(4);
    run.line("finding");
    let document: Value = serde_json::from_str(&run.get("/v1/openapi.json").body).unwrap();
    let mut asked = 0;
    for (path, item) in document["paths"].as_object().unwrap() {
        let Some(described) = item.get("get") else { continue };
        // Streams do not end; other tests read them.
        if described["responses"]["200"]["content"]["text/event-stream"].is_object() {
            continue;
        }
        let answer = run.get(&path.replace("{plot}", "misclosure.svg").replace("{instrument}", "a"));
        assert_eq!(answer.status, 200, "{path}");
        let kind = answer.header("content-type").unwrap().split(';').next().unwrap().to_owned();
        let content = &described["responses"]["200"]["content"][&kind];
        assert!(content.is_object(), "{path} is served as {kind}, which is not described");
        if kind == "application/json" && content["schema"].is_object() {
            let body: Value = serde_json::from_str(&answer.body).unwrap();
            let mut found = Vec::new();
            wrong(&document, &content["schema"], &body, path, &mut found);
            assert!(found.is_empty(), "{}", found.join("\n"));
            asked += 1;
        }
    }
    assert!(asked >= 4, "the state by both addresses, the overview and the pairing were looked at");
    assert!(!run.state_with(4)["now"]["findings"].as_array().unwrap().is_empty());
    // The check can fail: a document with one word changed is not what is served.
    let state: Value = serde_json::from_str(&run.get("/v1/state").body).unwrap();
    let mut changed = state.clone();
    changed["now"]["verdict"] = "perhaps".into();
    let mut found = Vec::new();
    wrong(&document, &document["components"]["schemas"]["State"], &changed, "state", &mut found);
    assert!(!found.is_empty());
}
