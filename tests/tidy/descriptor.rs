//! Reads the descriptors of the API: everything in it is explained, and every number has a unit.

use std::collections::HashMap;

use goodwire_proto::DESCRIPTORS;
use prost::Message;
use prost_types::{
    DescriptorProto, EnumDescriptorProto, FileDescriptorProto, FileDescriptorSet,
    field_descriptor_proto::Type,
};

/// How names of numbers end: the unit of what is counted or measured.
const UNITS: [&str; 20] = [
    "_hz",
    "_db",
    "_dbfs",
    "_dbm",
    "_mhz",
    "_mhz_least",
    "_s",
    "_ms",
    "_weeks",
    "_frames",
    "_frame",
    "_count",
    "_degree",
    "_size",
    "_channel",
    "volts",
    "metres",
    "progress",
    "frame_count",
    "seed",
];
/// Words of a comment that say what a number without a unit in its name counts in.
const SAID_IN_WORDS: [&str; 13] = [
    "`unit`",
    "`x_unit`",
    "`y_unit`",
    "in the figure's unit",
    "in the unit of the curve's",
    "in the history's unit",
    "in its own unit",
    "in the row's unit",
    "full scale = 1",
    "from 1",
    "figure's value",
    "that the figure may",
    "that is allowed",
];

/// One thing of the API that can be explained.
struct Item {
    name: String,
    comment: String,
    is_number: bool,
}

/// Walks one file and gives every message, field, enum, value, service and method of it.
struct Walk<'a> {
    comments: HashMap<&'a [i32], &'a str>,
    items: Vec<Item>,
}

impl Walk<'_> {
    fn add(&mut self, name: String, path: &[i32], is_number: bool) {
        let comment = self
            .comments
            .get(path)
            .copied()
            .unwrap_or_default()
            .trim()
            .to_owned();
        self.items.push(Item {
            name,
            comment,
            is_number,
        });
    }

    // The numbers below are field numbers of google/protobuf/descriptor.proto, of which
    // SourceCodeInfo.Location.path is made.
    fn message(&mut self, message: &DescriptorProto, name: &str, path: &[i32]) {
        if message.options.as_ref().is_some_and(|o| o.map_entry()) {
            return;
        }
        self.add(name.to_owned(), path, false);
        for (field, index) in message.field.iter().zip(0..) {
            let number = matches!(field.r#type(), Type::Double | Type::Float | Type::Int32);
            self.add(
                format!("{name}.{}", field.name()),
                &[path, &[2, index]].concat(),
                number,
            );
        }
        for (one_of, index) in message.oneof_decl.iter().zip(0..) {
            // An `optional` field has a oneof of its own that nobody wrote.
            if !one_of.name().starts_with('_') {
                self.add(
                    format!("{name}.{}", one_of.name()),
                    &[path, &[8, index]].concat(),
                    false,
                );
            }
        }
        for (nested, index) in message.nested_type.iter().zip(0..) {
            let name = format!("{name}.{}", nested.name());
            self.message(nested, &name, &[path, &[3, index]].concat());
        }
        for (kind, index) in message.enum_type.iter().zip(0..) {
            self.enumeration(kind, name, &[path, &[4, index]].concat());
        }
    }

    fn enumeration(&mut self, kind: &EnumDescriptorProto, parent: &str, path: &[i32]) {
        let name = format!("{parent}.{}", kind.name());
        self.add(name.clone(), path, false);
        for (value, index) in kind.value.iter().zip(0..) {
            self.add(
                format!("{name}.{}", value.name()),
                &[path, &[2, index]].concat(),
                false,
            );
        }
    }
}

fn items(file: &FileDescriptorProto) -> Vec<Item> {
    let source = file
        .source_code_info
        .as_ref()
        .expect("the descriptors carry comments");
    let comments = source
        .location
        .iter()
        .map(|l| (l.path.as_slice(), l.leading_comments()))
        .collect();
    let mut walk = Walk {
        comments,
        items: Vec::new(),
    };
    let package = file.package();
    for (message, index) in file.message_type.iter().zip(0..) {
        walk.message(
            message,
            &format!("{package}.{}", message.name()),
            &[4, index],
        );
    }
    for (kind, index) in file.enum_type.iter().zip(0..) {
        walk.enumeration(kind, package, &[5, index]);
    }
    for (service, index) in file.service.iter().zip(0..) {
        let name = format!("{package}.{}", service.name());
        walk.add(name.clone(), &[6, index], false);
        for (method, method_index) in service.method.iter().zip(0..) {
            walk.add(
                format!("{name}.{}", method.name()),
                &[6, index, 2, method_index],
                false,
            );
        }
    }
    walk.items
}

/// Everything in the packages of this project.
fn api() -> Vec<Item> {
    let set = FileDescriptorSet::decode(DESCRIPTORS).unwrap();
    let ours = set
        .file
        .iter()
        .filter(|file| file.package().starts_with("goodwire."));
    let items: Vec<_> = ours.flat_map(items).collect();
    assert!(
        items.len() > 300,
        "only {} things were found in the API",
        items.len()
    );
    items
}

#[test]
fn everything_in_the_api_has_a_comment_that_is_a_sentence() {
    let bare: Vec<_> = api()
        .into_iter()
        .filter(|item| item.comment.len() < 8 || !item.comment.ends_with('.'))
        .map(|item| format!("{}: {:?}", item.name, item.comment))
        .collect();
    assert!(bare.is_empty(), "without a comment:\n{}", bare.join("\n"));
}

#[test]
fn every_number_in_the_api_says_its_unit_in_its_name_or_its_comment() {
    let bare: Vec<_> = api()
        .into_iter()
        .filter(|item| item.is_number)
        .filter(|item| !UNITS.iter().any(|unit| item.name.ends_with(unit)))
        .filter(|item| {
            !SAID_IN_WORDS
                .iter()
                .any(|words| item.comment.contains(words))
        })
        .map(|item| format!("{}: {}", item.name, item.comment))
        .collect();
    assert!(bare.is_empty(), "without a unit:\n{}", bare.join("\n"));
}

#[test]
fn no_number_in_the_api_is_64_bits_wide_or_unsigned() {
    let set = FileDescriptorSet::decode(DESCRIPTORS).unwrap();
    for file in set
        .file
        .iter()
        .filter(|file| file.package().starts_with("goodwire."))
    {
        for message in &file.message_type {
            for field in &message.field {
                let wide = matches!(
                    field.r#type(),
                    Type::Int64 | Type::Uint64 | Type::Sint64 | Type::Fixed64 | Type::Uint32
                );
                assert!(
                    !wide,
                    "{}.{}: JSON would make a string of it",
                    message.name(),
                    field.name()
                );
            }
        }
    }
}
