//! Jupyter's messages: frames on a socket, signed JSON parts.

use bytes::Bytes;
use hmac::{Hmac, KeyInit, Mac};
use serde_json::{Value, json};
use sha2::Sha256;
use slewbook::hash::hexadecimal;
use zeromq::ZmqMessage;

const DELIMITER: &[u8] = b"<IDS|MSG>";

/// How to reach the front end: the connection file.
#[derive(Clone, Debug)]
pub struct Connection {
    transport: String,
    ip: String,
    key: String,
    file: Value,
}

impl Connection {
    /// Reads a connection file.
    ///
    /// # Errors
    /// Not readable, or not a connection file.
    pub fn read(path: &str) -> Result<Self, String> {
        let text = std::fs::read_to_string(path).map_err(|error| format!("{path}: {error}"))?;
        let file: Value =
            serde_json::from_str(&text).map_err(|error| format!("{path}: {error}"))?;
        let field = |name: &str| {
            file[name].as_str().map(str::to_owned).ok_or_else(|| {
                format!("{path}: no field \"{name}\"; expected a Jupyter connection file")
            })
        };
        let (transport, ip, key) = (field("transport")?, field("ip")?, field("key")?);
        Ok(Self {
            transport,
            ip,
            key,
            file,
        })
    }

    /// The address of a channel.
    ///
    /// # Errors
    /// The connection file has no port for it.
    pub fn address(&self, channel: &str) -> Result<String, String> {
        let name = format!("{channel}_port");
        let port = self.file[&name]
            .as_u64()
            .ok_or_else(|| format!("connection file: no field \"{name}\""))?;
        Ok(format!("{}://{}:{port}", self.transport, self.ip))
    }

    fn signature(&self, parts: &[Bytes]) -> Option<Hmac<Sha256>> {
        let mut mac = Hmac::<Sha256>::new_from_slice(self.key.as_bytes()).ok()?;
        for part in parts {
            mac.update(part);
        }
        Some(mac)
    }

    /// A message's frames; none if they are not a message signed with our key.
    pub fn parse(&self, frames: ZmqMessage) -> Option<Message> {
        let frames = frames.into_vec();
        let delimiter = frames.iter().position(|frame| &frame[..] == DELIMITER)?;
        let (signature, parts) = frames[delimiter + 1..].split_first()?;
        if !self.key.is_empty() {
            let given = from_hexadecimal(signature)?;
            self.signature(parts)?.verify_slice(&given).ok()?;
        }
        let part = |index: usize| serde_json::from_slice(parts.get(index)?).ok();
        Some(Message {
            identities: frames[..delimiter].to_vec(),
            header: part(0)?,
            content: part(3)?,
        })
    }

    /// The frames of a message, signed.
    pub fn frames(
        &self,
        identities: &[Bytes],
        header: &Value,
        parent: &Value,
        content: &Value,
    ) -> ZmqMessage {
        let parts: Vec<Bytes> = [header, parent, &json!({}), content]
            .iter()
            .map(|part| Bytes::from(part.to_string()))
            .collect();
        let signature = match self.signature(&parts) {
            Some(mac) if !self.key.is_empty() => hexadecimal(&mac.finalize().into_bytes()),
            _ => String::new(),
        };
        let mut message = ZmqMessage::from(Bytes::from(signature));
        message.push_front(Bytes::from_static(DELIMITER));
        for identity in identities.iter().rev() {
            message.push_front(identity.clone());
        }
        for part in parts {
            message.push_back(part);
        }
        message
    }
}

/// A message from the front end.
#[derive(Clone, Debug)]
pub struct Message {
    /// Where a reply goes.
    pub identities: Vec<Bytes>,
    /// Its header: the parent of every message it causes.
    pub header: Value,
    /// What it asks.
    pub content: Value,
}

impl Message {
    /// Its type, such as `execute_request`.
    pub fn kind(&self) -> &str {
        self.header["msg_type"].as_str().unwrap_or_default()
    }

    /// The header of a message of type `kind` that this one causes.
    pub fn child_header(&self, kind: &str, number: u64) -> Value {
        json!({
            "msg_id": format!("{}-{number}", self.header["msg_id"].as_str().unwrap_or("kernel")),
            "session": self.header["session"],
            "username": "kernel",
            // The protocol asks for a date; the front end's own will do.
            "date": self.header["date"],
            "msg_type": kind,
            "version": "5.3",
        })
    }
}

fn from_hexadecimal(text: &[u8]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(text).ok()?;
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(text.get(at..at + 2)?, 16).ok())
        .collect()
}
