//! The kernel that Jupyter starts: its sockets and its conversation.
//!
//! One thread owns the session and answers what needs it, in order; the
//! sockets live on a small runtime beside it, so that the front end is answered
//! while the library still loads and a running cell can be stopped.

mod executor;
mod wire;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use zeromq::{PubSocket, RepSocket, RouterSocket, Socket, SocketRecv, SocketSend, ZmqMessage};

use executor::{Executor, Job};
use wire::{Connection, Message};

use super::slot::Slot;

/// How long a message that has been sent may take to be there.
const ARRIVAL: Duration = Duration::from_millis(20);

/// Where messages for every front end go.
#[derive(Clone)]
pub struct Publisher {
    connection: Arc<Connection>,
    messages: UnboundedSender<ZmqMessage>,
    number: Arc<AtomicU64>,
}

impl Publisher {
    /// Publishes a message caused by `parent`.
    pub fn publish(&self, parent: &Message, kind: &str, content: &Value) {
        let header = parent.child_header(kind, self.next());
        let topic = [kind.to_owned().into()];
        let frames = self
            .connection
            .frames(&topic, &header, &parent.header, content);
        // Nobody is left to tell once the channel is closed.
        let _ = self.messages.send(frames);
    }

    fn reply(&self, to: &Message, content: &Value) -> ZmqMessage {
        let kind = to.kind().replace("_request", "_reply");
        let header = to.child_header(&kind, self.next());
        self.connection
            .frames(&to.identities, &header, &to.header, content)
    }

    fn next(&self) -> u64 {
        self.number.fetch_add(1, Ordering::Relaxed)
    }
}

/// Serves a front end until it asks to shut down.
///
/// # Errors
/// The connection file or a port cannot be used.
pub fn serve(connection_file: &str) -> Result<(), String> {
    let connection = Arc::new(Connection::read(connection_file)?);
    // Before any thread starts: the build folder is a setting of the process.
    let slot = Slot::reserve().map_err(|error| error.to_string());
    let folder = match &slot {
        Ok(slot) => Ok(slot.folder().clone()),
        Err(error) => Err(error.clone()),
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| error.to_string())?;
    let (messages, outgoing) = unbounded_channel();
    let publisher = Publisher {
        connection: Arc::clone(&connection),
        messages,
        number: Arc::default(),
    };
    let executor = Executor::start(publisher.clone(), folder);
    let stopper = executor.stopper();
    let ended = runtime.block_on(converse(&connection, publisher, outgoing, executor));
    if let Some(stopper) = stopper.get() {
        stopper.stop();
    }
    // The session's thread may be in the middle of a cell: it ends with the process.
    runtime.shutdown_background();
    drop(slot);
    ended
}

async fn bind<S: Socket>(connection: &Connection, channel: &str) -> Result<S, String> {
    let address = connection.address(channel)?;
    let mut socket = S::new();
    socket
        .bind(&address)
        .await
        .map_err(|error| format!("{address}: {error}"))?;
    Ok(socket)
}

async fn converse(
    connection: &Arc<Connection>,
    publisher: Publisher,
    outgoing: UnboundedReceiver<ZmqMessage>,
    executor: Executor,
) -> Result<(), String> {
    let heartbeat: RepSocket = bind(connection, "hb").await?;
    let published: PubSocket = bind(connection, "iopub").await?;
    let shell: RouterSocket = bind(connection, "shell").await?;
    let control: RouterSocket = bind(connection, "control").await?;
    // Cells that ask for typed input get an empty answer; the channel only has to exist.
    let _input: RouterSocket = bind(connection, "stdin").await?;
    let stopper = executor.stopper();
    tokio::spawn(beat(heartbeat));
    tokio::spawn(publish(published, outgoing));
    tokio::spawn(answer_shell(
        shell,
        Arc::clone(connection),
        publisher.clone(),
        executor,
    ));
    answer_control(control, connection, &publisher, &stopper).await
}

async fn beat(mut socket: RepSocket) {
    while let Ok(message) = socket.recv().await {
        if socket.send(message).await.is_err() {
            break;
        }
    }
}

async fn publish(mut socket: PubSocket, mut messages: UnboundedReceiver<ZmqMessage>) {
    while let Some(message) = messages.recv().await {
        // A front end that went away is no reason to stop.
        let _ = socket.send(message).await;
    }
}

async fn answer_shell(
    mut socket: RouterSocket,
    connection: Arc<Connection>,
    publisher: Publisher,
    executor: Executor,
) {
    while let Ok(frames) = socket.recv().await {
        let Some(message) = connection.parse(frames) else {
            continue;
        };
        publisher.publish(&message, "status", &json!({"execution_state": "busy"}));
        let content = answer(&message, &executor).await;
        let failed = message.kind() == "execute_request"
            && content
                .as_ref()
                .is_some_and(|content| content["status"] == "error")
            && message.content["stop_on_error"].as_bool().unwrap_or(true);
        // What is waiting now was sent before the front end could know of the failure.
        let waiting = if failed {
            waiting(&mut socket, &connection).await
        } else {
            vec![]
        };
        if let Some(content) = &content {
            let _ = socket.send(publisher.reply(&message, content)).await;
        }
        publisher.publish(&message, "status", &json!({"execution_state": "idle"}));
        for message in waiting {
            publisher.publish(&message, "status", &json!({"execution_state": "busy"}));
            let content = match message.kind() {
                "execute_request" => Some(json!({"status": "aborted"})),
                _ => answer(&message, &executor).await,
            };
            if let Some(content) = content {
                let _ = socket.send(publisher.reply(&message, &content)).await;
            }
            publisher.publish(&message, "status", &json!({"execution_state": "idle"}));
        }
    }
}

/// The messages that have arrived and were not read yet.
async fn waiting(socket: &mut RouterSocket, connection: &Connection) -> Vec<Message> {
    let mut messages = vec![];
    while let Ok(Ok(frames)) = tokio::time::timeout(ARRIVAL, socket.recv()).await {
        messages.extend(connection.parse(frames));
    }
    messages
}

async fn answer(message: &Message, executor: &Executor) -> Option<Value> {
    Some(match message.kind() {
        "kernel_info_request" => kernel_info(),
        "is_complete_request" => json!({"status": "unknown"}),
        "comm_info_request" => json!({"status": "ok", "comms": {}}),
        "history_request" => json!({"status": "ok", "history": []}),
        "inspect_request" => json!({"status": "ok", "found": false, "data": {}, "metadata": {}}),
        "execute_request" => executor.ask(Job::Execute(message.clone())).await,
        "complete_request" => executor.ask(Job::Complete(message.clone())).await,
        _ => return None,
    })
}

async fn answer_control(
    mut socket: RouterSocket,
    connection: &Connection,
    publisher: &Publisher,
    stopper: &executor::SharedStopper,
) -> Result<(), String> {
    loop {
        let frames = socket.recv().await.map_err(|error| error.to_string())?;
        let Some(message) = connection.parse(frames) else {
            continue;
        };
        publisher.publish(&message, "status", &json!({"execution_state": "busy"}));
        let (content, last) = match message.kind() {
            "kernel_info_request" => (kernel_info(), false),
            "interrupt_request" => {
                if let Some(stopper) = stopper.get() {
                    stopper.stop();
                }
                (json!({"status": "ok"}), false)
            }
            "shutdown_request" => (
                json!({"status": "ok", "restart": message.content["restart"]}),
                true,
            ),
            _ => continue,
        };
        socket
            .send(publisher.reply(&message, &content))
            .await
            .map_err(|error| error.to_string())?;
        publisher.publish(&message, "status", &json!({"execution_state": "idle"}));
        if last {
            // Let the last messages leave before the sockets close.
            tokio::time::sleep(Duration::from_millis(50)).await;
            return Ok(());
        }
    }
}

fn kernel_info() -> Value {
    json!({
        "status": "ok",
        "protocol_version": "5.3",
        "implementation": "slewbook-notebook",
        "implementation_version": env!("CARGO_PKG_VERSION"),
        "language_info": {
            "name": "Rust",
            "version": "",
            "mimetype": "text/rust",
            "file_extension": ".rs",
            "pygments_lexer": "rust",
            "codemirror_mode": "rust",
        },
        "banner": format!("slewbook {}: converters from equations that compute themselves", env!("CARGO_PKG_VERSION")),
        "help_links": [],
    })
}
