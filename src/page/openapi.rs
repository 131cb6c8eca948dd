//! The description of the interface, OpenAPI 3.1. A test holds it against what is served.

use serde_json::{Map, Value, json};

use super::routes::{Method, NAMED, OF_ALL, OF_ONE, ONLY};
use super::site::Overview;
use crate::report::causes::Explained;
use crate::report::today::Today;
use crate::report::{live, state};

/// The document.
pub(super) fn document() -> Value {
    let mut schemas = Map::new();
    let state = lifted("State", state::schema(), &mut schemas);
    let line = lifted("Line", live::schema(), &mut schemas);
    let overview = lifted("Overview", schemars::schema_for!(Overview).to_value(), &mut schemas);
    let causes = lifted("Explained", schemars::schema_for!(Explained).to_value(), &mut schemas);
    let today = lifted("Today", schemars::schema_for!(Today).to_value(), &mut schemas);
    let mut paths = Map::new();
    let word = |method: &Method| match method {
        Method::Get => "get",
        Method::Post => "post",
    };
    for (method, address) in OF_ALL {
        paths.insert((*address).to_owned(), json!({ word(method): of_all(address, &overview) }));
    }
    for (method, rest) in OF_ONE {
        let operation = of_one(rest, &state, &line, &causes, &today);
        paths.insert(format!("{ONLY}{rest}"), json!({ word(method): operation }));
        let named = json!([{ "name": "instrument", "in": "path", "required": true, "schema": { "type": "string" },
            "description": "Its name in addresses, as the overview gives it." }]);
        paths.insert(format!("{NAMED}{rest}"), json!({ "parameters": named, word(method): operation }));
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "closerun live page",
            "version": "1",
            "description": "One program may listen to several instruments. Each is asked by its name under \
                /v1/instruments/NAME; where there is one alone, the same stands under /v1 as well. \
                Reading is open at the page's address. Commands need the cookie that /v1/pair gives for the \
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

fn json_of(schema: &Value) -> Value {
    json!({ "application/json": { "schema": schema } })
}

/// An answer that says why not.
fn refusal(why: &str) -> Value {
    let sentence =
        json!({ "type": "object", "properties": { "refused": { "type": "string" } }, "required": ["refused"] });
    json!({ "description": why, "content": json_of(&sentence) })
}

fn of_all(address: &str, overview: &Value) -> Value {
    match address {
        "/v1/overview" => json!({
            "summary": "How each instrument stands, in short",
            "responses": { "200": { "description": "The overview", "content": json_of(overview) } },
        }),
        "/v1/overview/changes" => json!({
            "summary": "The same whenever something changes, as server-sent events",
            "description": "Event `instrument` with what the overview holds of it, for each at first and then for one \
                that has changed; `beat` every two seconds for each whose daemon is alive; `ended` when a recording \
                has ended. There is nothing to resume: it begins with how things stand.",
            "responses": {
                "200": { "description": "The stream", "content": { "text/event-stream": { "itemSchema": overview } } },
                "503": refusal("As many streams as may be are open"),
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

fn of_one(rest: &str, state: &Value, line: &Value, causes: &Value, today: &Value) -> Value {
    let since = json!([
        { "name": "since", "in": "query", "schema": { "type": "integer", "minimum": 0 },
          "description": "The last event that the client has; 0 for all. Without it the stream begins now." },
        { "name": "Last-Event-ID", "in": "header", "schema": { "type": "integer", "minimum": 0 },
          "description": "The same, as browsers say it when they come again. It wins." },
    ]);
    let no_stream = refusal("As many streams as may be are open, or the recording has ended");
    match rest {
        "/state" => json!({
            "summary": "How the job stands, as one document",
            "responses": { "200": { "description": "The state", "content": json_of(state) } },
        }),
        "/events" => json!({
            "summary": "Every kept event as it is shown, as server-sent events",
            "description": "Event `line` with the event's number as id and a Line as data; event `kept` with an id for an \
                event that comes to no line; `line` without id for a notice that no event holds; `beat` every two \
                seconds while the daemon is alive; `reset` if the number given is of another job; `ended` when the \
                recording has ended. Ids follow each other without gaps; an event that comes to several lines gives its \
                id with the last. A client that falls behind is cut, and resumes with Last-Event-ID.",
            "parameters": since,
            "responses": {
                "200": { "description": "The stream", "content": { "text/event-stream": { "itemSchema": line } } },
                "503": no_stream,
            },
        }),
        "/changes" => json!({
            "summary": "The same, and what changes in the state with each",
            "description": "As the events; besides, `whole` first with a State as data, then `changes` with the new \
                `now`, the `rows` that are new or changed, how many `readings` there are, and `said` if somebody just \
                said something.",
            "parameters": since,
            "responses": {
                "200": { "description": "The stream", "content": { "text/event-stream": { "itemSchema": state } } },
                "503": no_stream,
            },
        }),
        "/causes" => json!({
            "summary": "What could be behind each misclosure that is over its allowance",
            "responses": { "200": { "description": "The causes", "content": json_of(causes) } },
        }),
        "/today" => json!({
            "summary": "What is due, open, provisional and checked in the job",
            "responses": { "200": { "description": "The list", "content": json_of(today) } },
        }),
        "/plots/{plot}" => json!({
            "summary": "A plot of a run as SVG",
            "parameters": [
                { "name": "plot", "in": "path", "required": true,
                  "schema": { "enum": ["misclosure.svg", "profile.svg", "balance.svg"] } },
                { "name": "width", "in": "query", "schema": { "type": "integer", "minimum": 280, "maximum": 1600 } },
                { "name": "run", "in": "query", "schema": { "type": "integer", "minimum": 1 },
                  "description": "The run's number; the last without it." },
            ],
            "responses": {
                "200": { "description": "The drawing", "content": { "image/svg+xml": {} } },
                "204": { "description": "There is nothing to draw yet" },
                "404": refusal("No plot of this name"),
            },
        }),
        _ => json!({
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
        let of_one = OF_ONE.iter().flat_map(|(_, rest)| [ONLY, NAMED].map(|before| format!("{before}{rest}")));
        for address in OF_ALL.iter().map(|(_, address)| (*address).to_owned()).chain(of_one) {
            assert!(document["paths"][&address].is_object(), "{address}");
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
