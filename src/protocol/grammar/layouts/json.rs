//! One JSON object, each field at its pointer.

use super::{Builder, chosen};
use crate::protocol::format::file::{LayoutKind, Others, RecordFile};
use crate::protocol::format::written::At;
use crate::protocol::grammar::build::Faults;
use crate::protocol::grammar::fields::{Part, quotes};
use crate::protocol::grammar::{Excess, Layout, Node, Test};
use crate::protocol::limits::DEPTH_MAX;

pub(super) fn build(file: &At<RecordFile>, builder: &mut Builder, faults: &mut Faults) -> Option<Layout> {
    let mut root = Node::Object(Vec::new());
    for field in &file.fields {
        let part = builder.part(field, LayoutKind::Json, faults)?;
        let Some(pointer) = &field.pointer else {
            faults.advise(&field.span, "a field without `pointer` found", "for example `pointer = \"/shot/height\"`");
            return None;
        };
        let Some(path) = path(pointer) else {
            let message =
                format!("{:?} found, a JSON Pointer of at most {} names was wanted", pointer.value, DEPTH_MAX - 1);
            faults.advise(&pointer.span, message, "it begins with / and has one / before each name");
            return None;
        };
        if let Some(any_of) = chosen(&part, field) {
            builder.tests.push(Test::Pointer { path: path.clone(), any_of });
        }
        let quotes = quotes(field);
        let leaf = match part {
            Part::Literal(value) => Node::Literal { value, quotes },
            Part::Field(value, _) => Node::Field { slot: builder.push(*value, field, faults), quotes },
            Part::Skip { .. } | Part::Flags { .. } | Part::Length { .. } => {
                let advice = "leave it out, and say `others = \"ignore\"` for the record";
                faults.advise(&field.is.span, "a field found that a JSON object cannot hold", advice);
                return None;
            }
        };
        if let Err(reason) = plant(&mut root, &path, leaf) {
            faults.add(&pointer.span, reason);
            return None;
        }
    }
    if let Err(reason) = whole(&root) {
        faults.add(&file.span, reason);
        return None;
    }
    let others = if file.others == Others::Ignore { Excess::Ignored } else { Excess::Refused };
    Some(Layout::Json { literals: literals(&root), root, others })
}

fn literals(node: &Node) -> usize {
    match node {
        Node::Object(members) => members.iter().map(|(_, node)| literals(node)).sum(),
        Node::Array(nodes) => nodes.iter().map(literals).sum(),
        Node::Field { .. } => 0,
        Node::Literal { .. } => 1,
    }
}

/// The names of a pointer.
fn path(pointer: &str) -> Option<Vec<Box<str>>> {
    let names: Vec<Box<str>> =
        pointer.strip_prefix('/')?.split('/').map(|name| name.replace("~1", "/").replace("~0", "~").into()).collect();
    (names.len() < DEPTH_MAX).then_some(names)
}

/// Puts a leaf at its place; numbers are places in a list.
fn plant(node: &mut Node, path: &[Box<str>], leaf: Node) -> Result<(), String> {
    let Some((first, rest)) = path.split_first() else {
        return Err("an empty pointer found".to_owned());
    };
    let taken = || "a pointer found that goes through, or to, what another field holds".to_owned();
    let index = first.parse::<usize>().ok().filter(|index| index.to_string() == **first);
    if let (Node::Object(members), Some(_)) = (&*node, index)
        && members.is_empty()
        && index.is_some()
    {
        *node = Node::Array(Vec::new());
    }
    let child = match (node, index) {
        (Node::Array(nodes), Some(index)) => match nodes.len().cmp(&index) {
            std::cmp::Ordering::Less => {
                return Err(format!("place {index} of a list found before place {}", nodes.len()));
            }
            std::cmp::Ordering::Equal => {
                nodes.push(Node::Object(Vec::new()));
                nodes.last_mut()
            }
            std::cmp::Ordering::Greater => nodes.get_mut(index),
        },
        (Node::Object(members), _) => {
            let place = members.iter().position(|(name, _)| name == first).unwrap_or(members.len());
            if place == members.len() {
                members.push((first.clone(), Node::Object(Vec::new())));
            }
            members.get_mut(place).map(|(_, node)| node)
        }
        _ => None,
    };
    let child = child.ok_or_else(taken)?;
    if !rest.is_empty() {
        return plant(child, rest, leaf);
    }
    match child {
        Node::Object(members) if members.is_empty() => {
            *child = leaf;
            Ok(())
        }
        _ => Err(taken()),
    }
}

/// The record itself must be an object.
fn whole(root: &Node) -> Result<(), String> {
    match root {
        Node::Object(members) if !members.is_empty() => Ok(()),
        Node::Object(_) => Err("a JSON record without fields found".to_owned()),
        _ => Err("a JSON record that is no object found".to_owned()),
    }
}
