//! The description of the interface, OpenAPI 3.1. A test holds it against what is served.

use serde_json::{Map, Value, json};

use super::routes::{ADDRESSES, Method};
use crate::report::{live, state};

/// The document.
pub(super) fn document() -> Value {
    let mut schemas = Map::new();
    let state = lifted("State", state::schema(), &mut schemas);
    let line = lifted("Line", live::schema(), &mut schemas);
    let mut paths = Map::new();
    for (method, address) in ADDRESSES {
        let word = match method {
            Method::Get => "get",
            Method::Post => "post",
        };
        paths.insert((*address).to_owned(), json!({ word: operation(address, &state, &line) }));
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "closerun live page",
            "version": "1",
            "description": "Reading is open at the page's address. Commands need the cookie that /v1/pair gives for the \
                code shown in the terminal, the page's own Origin, and the type application/json. Requests under \
                another host's name, or from another site, are answered with 403.",
        },
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": {
                "paired": {
                    "type": "apiKey",
                    "in": "cookie",
                    "name": "closerun-PORT",
                    "description": "PORT is the page's port.",
                },
            },
        },
    })
}

fn operation(address: &str, state: &Value, line: &Value) -> Value {
    let json_of = |schema: &Value| json!({ "application/json": { "schema": schema } });
    let sentence =
        json!({ "type": "object", "properties": { "refused": { "type": "string" } }, "required": ["refused"] });
    let refusal = |why: &str| json!({ "description": why, "content": json_of(&sentence) });
    let since = json!([
        { "name": "since", "in": "query", "schema": { "type": "integer", "minimum": 0 },
          "description": "The last event that the client has; 0 for all. Without it the stream begins now." },
        { "name": "Last-Event-ID", "in": "header", "schema": { "type": "integer", "minimum": 0 },
          "description": "The same, as browsers say it when they come again. It wins." },
    ]);
    match address {
        "/v1/state" => json!({
            "summary": "How the job stands, as one document",
            "responses": { "200": { "description": "The state", "content": json_of(state) } },
        }),
        "/v1/events" => json!({
            "summary": "Every kept event as it is shown, as server-sent events",
            "description": "Event `line` with the event's number as id and a Line as data; event `kept` with an id for an \
                event that comes to no line; `line` without id for a notice that no event holds; `beat` every two \
                seconds while the daemon is alive; `reset` if the number given is of another job; `ended` when the \
                recording has ended. Ids follow each other without gaps. A client that falls behind is cut, and \
                resumes with Last-Event-ID.",
            "parameters": since,
            "responses": {
                "200": { "description": "The stream", "content": { "text/event-stream": { "itemSchema": line } } },
                "503": refusal("As many streams as may be are open"),
            },
        }),
        "/v1/changes" => json!({
            "summary": "The same, and what changes in the state with each",
            "description": "As /v1/events; besides, `whole` first with a State as data, then `changes` with the new \
                `now`, the `rows` that are new or changed, and how many `readings` there are.",
            "parameters": since,
            "responses": {
                "200": { "description": "The stream", "content": { "text/event-stream": { "itemSchema": state } } },
                "503": refusal("As many streams as may be are open"),
            },
        }),
        "/v1/plots/{name}" => json!({
            "summary": "A plot of the last run as SVG",
            "parameters": [
                { "name": "name", "in": "path", "required": true,
                  "schema": { "enum": ["misclosure.svg", "profile.svg", "balance.svg"] } },
                { "name": "width", "in": "query", "schema": { "type": "integer", "minimum": 280, "maximum": 1600 } },
            ],
            "responses": {
                "200": { "description": "The drawing", "content": { "image/svg+xml": {} } },
                "204": { "description": "There is nothing to draw yet" },
                "404": refusal("No plot of this name"),
            },
        }),
        "/v1/paired" => json!({
            "summary": "Whether this client may give commands",
            "responses": { "200": {
                "description": "Whether", "content": json_of(&json!({
                    "type": "object", "properties": { "paired": { "type": "boolean" } }, "required": ["paired"] })) } },
        }),
        "/v1/pair" => json!({
            "summary": "Say the code that the terminal shows, to give commands afterwards",
            "requestBody": { "required": true, "content": json_of(&json!({
                "type": "object", "properties": { "code": { "type": "string" } }, "required": ["code"],
                "additionalProperties": false })) },
            "responses": {
                "200": { "description": "Paired; the cookie comes with it" },
                "403": refusal("Not the code"),
                "429": refusal("Too many wrong codes: wait"),
            },
        }),
        "/v1/say" => json!({
            "summary": "Give a command, in the words of `closerun tell`",
            "security": [{ "paired": [] }],
            "requestBody": { "required": true, "content": json_of(&json!({
                "type": "object", "additionalProperties": false, "required": ["say"],
                "properties": { "say": { "type": "array", "items": { "type": "string" }, "examples": [["strike", "14"]] } } })) },
            "responses": {
                "200": { "description": "Done and kept", "content": json_of(&json!({
                    "type": "object", "required": ["done"],
                    "properties": { "done": { "type": "array", "items": { "type": "string" } } } })) },
                "403": refusal("Not paired"),
                "409": refusal("It cannot be done, and why"),
                "422": { "description": "The words are not understood, and what would do", "content": json_of(&json!({
                    "type": "object", "required": ["not-understood"],
                    "properties": { "not-understood": { "type": "string" } } })) },
                "503": refusal("Too many commands wait, or the recording is stopping"),
            },
        }),
        "/v1/openapi.json" => json!({
            "summary": "This description",
            "responses": { "200": { "description": "The document", "content": { "application/json": {} } } },
        }),
        _ => json!({
            "summary": "Numbers for machines that watch, in the Prometheus text format",
            "responses": { "200": { "description": "The numbers", "content": { "text/plain": {} } } },
        }),
    }
}

/// A schema with its definitions lifted to where the document keeps them.
fn lifted(name: &str, schema: Value, schemas: &mut Map<String, Value>) -> Value {
    let text = schema.to_string().replace("#/$defs/", "#/components/schemas/");
    let Ok(Value::Object(mut schema)) = serde_json::from_str(&text) else { unreachable!("a schema is an object") };
    if let Some(Value::Object(definitions)) = schema.remove("$defs") {
        schemas.extend(definitions);
    }
    schema.remove("$schema");
    schemas.insert(name.to_owned(), Value::Object(schema));
    json!({ "$ref": format!("#/components/schemas/{name}") })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every reference of a document.
    fn references<'a>(value: &'a Value, found: &mut Vec<&'a str>) {
        match value {
            Value::Object(map) => {
                for (key, value) in map {
                    match value {
                        Value::String(to) if key == "$ref" => found.push(to),
                        _ => references(value, found),
                    }
                }
            }
            Value::Array(values) => values.iter().for_each(|value| references(value, found)),
            _ => {}
        }
    }

    #[test]
    fn every_address_is_described_and_every_reference_leads_somewhere() {
        let document = document();
        for (_, address) in ADDRESSES {
            assert!(document["paths"][address].is_object(), "{address}");
        }
        let mut found = Vec::new();
        references(&document, &mut found);
        assert!(found.len() > 10);
        for reference in found {
            let pointer = reference.strip_prefix('#').expect("inside the document");
            assert!(document.pointer(pointer).is_some(), "{reference}");
        }
    }
}
