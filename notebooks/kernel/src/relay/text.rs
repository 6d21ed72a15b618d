//! What a process writes to one of its standard streams.

use std::fmt::Write;
use std::fs::File;
use std::io::{self, Read};
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};

/// The most that is read at once, in bytes.
const PART: u64 = 1 << 16;

/// A stream of text, of which each cell keeps so much.
pub struct Text {
    source: Option<File>,
    limit: u64,
    /// Bytes of this cell that were kept, and that were not.
    kept: u64,
    dropped: u64,
    /// The beginning of a letter whose end has not come.
    begun: Vec<u8>,
}

impl Text {
    /// Text from a pipe.
    pub fn new(source: OwnedFd, limit: u64) -> io::Result<Self> {
        rustix::io::ioctl_fionbio(&source, true)?;
        Ok(Self {
            source: Some(File::from(source)),
            limit,
            kept: 0,
            dropped: 0,
            begun: vec![],
        })
    }

    /// What to wait for, while anybody can write to it.
    pub fn source(&self) -> Option<BorrowedFd<'_>> {
        self.source.as_ref().map(AsFd::as_fd)
    }

    /// Another cell begins.
    pub fn begin(&mut self) {
        (self.kept, self.dropped) = (0, 0);
    }

    /// The text that has come.
    pub fn take(&mut self) -> String {
        let mut bytes = std::mem::take(&mut self.begun);
        let carried = bytes.len();
        let Some(source) = &mut self.source else {
            return shown(&bytes, &mut self.begun);
        };
        let waiting = rustix::io::ioctl_fionread(&*source).unwrap_or(PART);
        match source.take(waiting.max(1)).read_to_end(&mut bytes) {
            // Every end of it that could be written to is closed.
            Ok(0) => self.source = None,
            Err(error) if error.kind() != io::ErrorKind::WouldBlock => self.source = None,
            _ => {}
        }
        let new = (bytes.len() - carried) as u64;
        let room = self.limit.saturating_sub(self.kept);
        if new > room {
            self.dropped += new - room;
            bytes.truncate(carried + usize::try_from(room).unwrap_or(usize::MAX));
        }
        self.kept += new.min(room);
        shown(&bytes, &mut self.begun)
    }

    /// The end of a cell's text: a letter that never ended, and what was left out.
    pub fn end(&mut self) -> String {
        let begun = std::mem::take(&mut self.begun);
        let mut text = escaped(&begun);
        if self.dropped > 0 {
            text.push_str(&format!(
                "\n[{} more bytes were printed; {} are kept, --output-limit sets another limit]\n",
                self.dropped, self.limit
            ));
            self.dropped = 0;
        }
        text
    }
}

/// Bytes as text: those that are not UTF-8 as `\xff`; the beginning of a letter at
/// the end waits for the rest of it.
fn shown(bytes: &[u8], begun: &mut Vec<u8>) -> String {
    let mut text = String::new();
    let mut rest = bytes;
    loop {
        match std::str::from_utf8(rest) {
            Ok(whole) => {
                text.push_str(whole);
                return text;
            }
            Err(error) => {
                let (whole, after) = rest.split_at(error.valid_up_to());
                text.push_str(&String::from_utf8_lossy(whole));
                let Some(length) = error.error_len() else {
                    begun.extend_from_slice(after);
                    return text;
                };
                text.push_str(&escaped(&after[..length]));
                rest = &after[length..];
            }
        }
    }
}

fn escaped(bytes: &[u8]) -> String {
    let mut text = String::new();
    for byte in bytes {
        let _ = write!(text, "\\x{byte:02x}");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_that_are_no_text_are_shown_and_letters_are_put_together() {
        let mut begun = vec![];
        assert_eq!(shown(b"a\xff\xfe 5 \xc2", &mut begun), "a\\xff\\xfe 5 ");
        assert_eq!(begun, b"\xc2");
        begun.push(b'\xb5');
        let whole = std::mem::take(&mut begun);
        assert_eq!(shown(&whole, &mut begun), "µ");
    }
}
