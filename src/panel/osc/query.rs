//! The OSCQuery page: which addresses there are, and what each takes.

use std::net::SocketAddr;

use serde_json::{Map, Value, json};

/// An address that a message can be sent to, or that is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Method {
    /// The address, with the slash before it.
    pub address: String,
    /// One line for a person.
    pub description: String,
    /// Its OSC type tag; `T` for a switch, as the proposal has it.
    pub tag: char,
    /// Can it be read (1) and written (2)?
    pub access: u8,
    /// Its value.
    pub value: Option<Value>,
    /// An object with MIN and MAX, or VALS.
    pub range: Option<Value>,
    /// What it counts.
    pub unit: Option<&'static str>,
    /// Are values out of the range held at its ends?
    pub held: bool,
}

/// What the page says about this program.
#[derive(Clone, Debug, PartialEq)]
pub struct Host {
    /// Its name.
    pub name: String,
    /// Where it listens to OSC.
    pub osc: SocketAddr,
}

/// What is answered.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// HTTP's status.
    pub status: u16,
    /// JSON, with status 200.
    pub body: Option<String>,
}

/// Attributes that can be asked for one by one.
const ATTRIBUTES: &[&str] =
    &["FULL_PATH", "CONTENTS", "DESCRIPTION", "TYPE", "ACCESS", "VALUE", "RANGE", "UNIT", "CLIPMODE"];

/// Answers a request for `target`: a path for all about the node and what lies below it, `PATH?ATTRIBUTE` for an object
/// with that attribute alone, `?HOST_INFO`. `containers` are descriptions of paths that are no methods.
///
/// As the proposal says: 404 where there is no such node, 204 where the node does not have the attribute, 400 for an
/// attribute that is not known.
pub fn answer(methods: &[Method], containers: &[(String, String)], host: &Host, target: &str) -> Answer {
    let refuse = |status| Answer { status, body: None };
    let give = |value: Value| Answer { status: 200, body: Some(value.to_string()) };
    let (path, attribute) = match target.split_once('?') {
        Some((path, attribute)) => (path, Some(attribute)),
        None => (target, None),
    };
    if attribute == Some("HOST_INFO") {
        return give(host_info(host));
    }
    let Some(mut node) = find(tree(methods, containers), path) else { return refuse(404) };
    match attribute {
        None => give(Value::Object(node)),
        Some(name) if ATTRIBUTES.contains(&name) => match node.remove(name) {
            Some(value) => give(json!({ name: value })),
            None => refuse(204),
        },
        Some(_) => refuse(400),
    }
}

fn host_info(host: &Host) -> Value {
    let extensions: Map<String, Value> =
        ATTRIBUTES[2..].iter().map(|a| ((*a).to_owned(), Value::Bool(true))).collect();
    json!({
        "NAME": host.name,
        "OSC_IP": host.osc.ip().to_string(),
        "OSC_PORT": host.osc.port(),
        "OSC_TRANSPORT": "UDP",
        "EXTENSIONS": extensions,
    })
}

fn find(root: Map<String, Value>, path: &str) -> Option<Map<String, Value>> {
    let mut node = root;
    for part in path.strip_prefix('/')?.split('/').filter(|p| !p.is_empty()) {
        match node.remove("CONTENTS")? {
            Value::Object(mut contents) => match contents.remove(part)? {
                Value::Object(found) => node = found,
                _ => return None,
            },
            _ => return None,
        }
    }
    Some(node)
}

fn tree(methods: &[Method], containers: &[(String, String)]) -> Map<String, Value> {
    let mut root = container("/");
    for method in methods {
        let parts: Vec<&str> = method.address.trim_start_matches('/').split('/').collect();
        let mut node = &mut root;
        for (depth, part) in parts.iter().enumerate() {
            let contents = node.entry("CONTENTS").or_insert_with(|| Value::Object(Map::new()));
            let Value::Object(contents) = contents else { return root };
            let path = format!("/{}", parts[..=depth].join("/"));
            let child = contents.entry(*part).or_insert_with(|| {
                let mut made = container(&path);
                if let Some((_, text)) = containers.iter().find(|(p, _)| *p == path) {
                    made.insert("DESCRIPTION".into(), json!(text));
                }
                Value::Object(made)
            });
            let Value::Object(child) = child else { return root };
            node = child;
        }
        let m = method;
        node.insert("DESCRIPTION".into(), json!(m.description));
        node.insert("TYPE".into(), json!(m.tag.to_string()));
        node.insert("ACCESS".into(), json!(m.access));
        let mut each = |name: &str, value: Option<Value>| {
            if let Some(value) = value {
                node.insert(name.into(), Value::Array(vec![value]));
            }
        };
        each("VALUE", m.value.clone());
        each("RANGE", m.range.clone());
        each("UNIT", m.unit.map(|u| json!(u)));
        each("CLIPMODE", m.held.then(|| json!("both")));
    }
    root
}

fn container(path: &str) -> Map<String, Value> {
    let mut node = Map::new();
    node.insert("FULL_PATH".into(), json!(path));
    node.insert("ACCESS".into(), json!(0));
    node
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_as_the_proposal_has_them() {
        let method = Method {
            address: "/foo/bar".into(),
            description: "A number.".into(),
            tag: 'f',
            access: 3,
            value: Some(json!(0.25)),
            range: Some(json!({ "MIN": 0, "MAX": 1 })),
            unit: None,
            held: true,
        };
        let host = Host { name: "us".into(), osc: "127.0.0.1:9000".parse().unwrap() };
        let ask = |target: &str| {
            let containers = [("/foo".to_owned(), "Some.".to_owned())];
            let answer = answer(std::slice::from_ref(&method), &containers, &host, target);
            (answer.status, answer.body.map(|b| serde_json::from_str::<Value>(&b).unwrap()))
        };
        let bar = json!({
            "FULL_PATH": "/foo/bar", "DESCRIPTION": "A number.", "TYPE": "f", "ACCESS": 3, "VALUE": [0.25],
            "RANGE": [{ "MIN": 0, "MAX": 1 }], "CLIPMODE": ["both"],
        });
        assert_eq!(ask("/foo/bar"), (200, Some(bar.clone())));
        let foo =
            json!({ "FULL_PATH": "/foo", "DESCRIPTION": "Some.", "ACCESS": 0, "CONTENTS": { "bar": bar } });
        assert_eq!(ask("/foo"), (200, Some(foo.clone())));
        assert_eq!(
            ask("/"),
            (200, Some(json!({ "FULL_PATH": "/", "ACCESS": 0, "CONTENTS": { "foo": foo } })))
        );
        assert_eq!(ask("/foo/bar?VALUE"), (200, Some(json!({ "VALUE": [0.25] }))));
        assert_eq!(ask("/foo?VALUE"), (204, None));
        assert_eq!(ask("/foo/bar?UNIT"), (204, None));
        assert_eq!(ask("/foo/bar?SHAPE"), (400, None));
        for nowhere in ["/fo", "/foo/bar/x", "foo", "", "*", "http://127.0.0.1/foo"] {
            assert_eq!(ask(nowhere), (404, None), "{nowhere}");
        }
        let (status, info) = ask("/?HOST_INFO");
        let info = info.unwrap();
        assert_eq!((status, &info["OSC_PORT"], &info["OSC_TRANSPORT"]), (200, &json!(9000), &json!("UDP")));
    }
}
