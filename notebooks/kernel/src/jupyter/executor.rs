//! The thread that owns the session.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, OnceLock};

use serde_json::{Value, json};
use tokio::sync::oneshot;

use super::Publisher;
use super::wire::Message;
use crate::failure::{Failure, Kind};
use crate::prelude;
use crate::relay::Limits;
use crate::session::{Outcome, Session, Stopper};
use crate::slot::{self, Folder};
use crate::stored;

/// What stops the running cell, once there is a session.
pub type SharedStopper = Arc<OnceLock<Stopper>>;

/// A request that needs the session.
pub enum Job {
    /// Run a cell.
    Execute(Message),
    /// Complete a name.
    Complete(Message),
}

/// The way to the session's thread.
pub struct Executor {
    jobs: Sender<(Job, oneshot::Sender<Value>)>,
    stopper: SharedStopper,
}

impl Executor {
    /// Starts the session in a folder, or with what went wrong before.
    pub fn start(publisher: Publisher, folder: Result<Folder, String>) -> Self {
        let (jobs, queue) = channel();
        let stopper = SharedStopper::default();
        let shared = Arc::clone(&stopper);
        std::thread::spawn(move || {
            let worker = Worker::start(publisher, folder, &shared);
            worker.work(&queue);
        });
        Self { jobs, stopper }
    }

    /// What stops the running cell.
    pub fn stopper(&self) -> SharedStopper {
        Arc::clone(&self.stopper)
    }

    /// Waits for the answer to a job.
    pub async fn ask(&self, job: Job) -> Value {
        let (reply, answer) = oneshot::channel();
        // Without the thread there is no answer either.
        let _ = self.jobs.send((job, reply));
        answer.await.unwrap_or_else(|_| {
            json!({"status": "error", "ename": Kind::ProcessEnded.name(), "evalue": "the session has ended", "traceback": []})
        })
    }
}

struct Worker {
    publisher: Publisher,
    session: Option<Session>,
    /// Why there is no session or no library, until the first cell has said it.
    problem: Option<Failure>,
    count: u64,
}

impl Worker {
    fn start(
        publisher: Publisher,
        folder: Result<Folder, String>,
        stopper: &SharedStopper,
    ) -> Self {
        let mut worker = Self {
            publisher,
            session: None,
            problem: None,
            count: 0,
        };
        let filled = folder.and_then(|folder| folder.fill().map_err(|error| error.to_string()));
        if let Err(problem) = filled {
            worker.problem = Some(Failure::new(Kind::Start, problem));
            return worker;
        }
        match Session::start(Limits::DEFAULT) {
            Ok(mut session) => {
                // A stop set twice is the same stop.
                let _ = stopper.set(session.stopper());
                worker.problem = session.load(&slot::dependency(), &prelude::text()).err();
                worker.session = Some(session);
            }
            Err(failure) => worker.problem = Some(failure),
        }
        worker
    }

    fn work(mut self, queue: &Receiver<(Job, oneshot::Sender<Value>)>) {
        while let Ok((job, reply)) = queue.recv() {
            let answer = match job {
                Job::Execute(message) => self.execute(&message),
                Job::Complete(message) => self.complete(&message),
            };
            // A front end that went away needs no answer.
            let _ = reply.send(answer);
        }
    }

    fn execute(&mut self, message: &Message) -> Value {
        let source = message.content["code"]
            .as_str()
            .unwrap_or_default()
            .to_owned();
        let silent = message.content["silent"].as_bool().unwrap_or(false);
        if !silent {
            self.count += 1;
            let content = json!({"code": source, "execution_count": self.count});
            self.publisher.publish(message, "execute_input", &content);
        }
        let outcome = self.run(message, &source);
        if !outcome.stderr.is_empty() {
            let content = json!({"name": "stderr", "text": outcome.stderr});
            self.publisher.publish(message, "stream", &content);
        }
        self.show(message, &outcome);
        match &outcome.failure {
            None => json!({
                "status": "ok",
                "execution_count": self.count,
                "user_expressions": {},
                "payload": [],
            }),
            Some(failure) => {
                let error = stored::error(failure);
                self.publisher.publish(message, "error", &error);
                let mut reply = json!({"status": "error", "execution_count": self.count});
                for key in ["ename", "evalue", "traceback"] {
                    reply[key] = error[key].clone();
                }
                reply
            }
        }
    }

    fn run(&mut self, message: &Message, source: &str) -> Outcome {
        if let Some(mut failure) = self.problem.take() {
            failure.report.push(match self.session {
                Some(_) => "Run the cell again to go on without it.".to_owned(),
                None => "Restart the kernel when that is put right.".to_owned(),
            });
            if self.session.is_none() {
                self.problem = Some(failure.clone());
            }
            return Outcome {
                failure: Some(failure),
                ..Outcome::default()
            };
        }
        let Some(session) = &mut self.session else {
            return Outcome::default();
        };
        let publisher = self.publisher.clone();
        let parent = message.clone();
        session.listen(move |text| {
            let content = json!({"name": "stdout", "text": text});
            publisher.publish(&parent, "stream", &content);
        });
        session.run(source, None)
    }

    /// Displays every bundle; the last is the cell's result.
    fn show(&self, message: &Message, outcome: &Outcome) {
        let last = outcome.bundles.len();
        for (index, bundle) in outcome.bundles.iter().enumerate() {
            let mut content = json!({"data": stored::data(bundle), "metadata": {}});
            if index + 1 == last {
                content["execution_count"] = json!(self.count);
                self.publisher.publish(message, "execute_result", &content);
            } else {
                self.publisher.publish(message, "display_data", &content);
            }
        }
    }

    fn complete(&mut self, message: &Message) -> Value {
        let source = message.content["code"].as_str().unwrap_or_default();
        let position = message.content["cursor_pos"].as_u64().unwrap_or_default();
        let position = usize::try_from(position).unwrap_or_default();
        let offset = source
            .char_indices()
            .nth(position)
            .map_or(source.len(), |(offset, _)| offset);
        let found = self
            .session
            .as_mut()
            .and_then(|session| session.completions(source, offset));
        let (start, end, matches) = found.unwrap_or((offset, offset, vec![]));
        let characters = |offset: usize| {
            source
                .get(..offset)
                .map_or(position, |text| text.chars().count())
        };
        json!({
            "status": "ok",
            "matches": matches,
            "cursor_start": characters(start),
            "cursor_end": characters(end),
            "metadata": {},
        })
    }
}
