//! X11's drag-and-drop (XDND, version 5), on a connection and a thread of our own.
//!
//! Whoever carries files over a window sends its messages to the window that the property `XdndProxy`
//! names: an invisible one of ours. So the windowing layer never sees them, and nothing of it is changed.

use super::exchange::{Exchange, addresses, files};
use crate::lock::locked;
use raw_window_handle::{HasWindowHandle, RawWindowHandle};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use x11rb::connection::Connection;
use x11rb::errors::{ReplyError, ReplyOrIdError};
use x11rb::protocol::Event;
use x11rb::protocol::xproto::{
    AtomEnum, ChangeWindowAttributesAux, ClientMessageEvent, ConnectionExt, CreateWindowAux,
    EventMask, GrabMode, KeyButMask, ModMask, PropMode, SELECTION_NOTIFY_EVENT,
    SelectionNotifyEvent, SelectionRequestEvent, Window, WindowClass,
};
use x11rb::rust_connection::RustConnection;
use x11rb::wrapper::ConnectionExt as _;
use x11rb::{COPY_DEPTH_FROM_PARENT, CURRENT_TIME};

x11rb::atom_manager! {
    Atoms: AtomsCookie {
        XdndAware,
        XdndProxy,
        XdndTypeList,
        XdndEnter,
        XdndPosition,
        XdndStatus,
        XdndLeave,
        XdndDrop,
        XdndFinished,
        XdndSelection,
        XdndActionCopy,
        TARGETS,
        THUMBLINE_WAKE,
        THUMBLINE_LIST,
        List: b"text/uri-list",
    }
}

/// The version that is spoken.
const VERSION: u32 = 5;
/// Longest list of files that is read, in units of four bytes.
const LONGEST: u32 = 1 << 18;
/// How often the pointer is looked at while it carries files away.
const LOOK: Duration = Duration::from_millis(15);
/// Longest wait for whoever was handed files.
const PATIENCE: Duration = Duration::from_secs(5);

/// The thread and what it talks through.
pub struct Helper {
    conn: Arc<RustConnection>,
    wake: Atoms,
    own: Window,
    exchange: Arc<Mutex<Exchange>>,
    thread: Option<JoinHandle<()>>,
}

impl Helper {
    /// Begins for a window; none where it is no window of an X server.
    pub fn start(
        window: &impl HasWindowHandle,
        exchange: Arc<Mutex<Exchange>>,
        wake: Box<dyn Fn() + Send>,
    ) -> Option<Self> {
        let target = match window.window_handle().ok()?.as_raw() {
            RawWindowHandle::Xlib(handle) => Window::try_from(handle.window).ok()?,
            RawWindowHandle::Xcb(handle) => handle.window.get(),
            _ => return None,
        };
        let (conn, screen) = x11rb::connect(None).ok()?;
        let conn = Arc::new(conn);
        let root = conn.setup().roots.get(screen)?.root;
        let server = Server::of(Arc::clone(&conn), root, target).ok()?;
        let (atoms, own) = (server.atoms, server.own);
        let same = Arc::clone(&exchange);
        let thread = std::thread::Builder::new()
            .name("thumbline files".to_owned())
            .spawn(move || {
                // Where the server goes away, so does the window.
                let _ = server.serve(&same, &wake);
            });
        Some(Self {
            conn,
            wake: atoms,
            own,
            exchange,
            thread: Some(thread.ok()?),
        })
    }

    /// Has the thread look at what is handed to it.
    pub fn wake(&self) {
        let event = ClientMessageEvent::new(32, self.own, self.wake.THUMBLINE_WAKE, [0; 5]);
        let sent = self
            .conn
            .send_event(false, self.own, EventMask::NO_EVENT, event);
        if sent.is_ok() {
            let _ = self.conn.flush();
        }
    }
}

impl Drop for Helper {
    fn drop(&mut self) {
        locked(&self.exchange).over = true;
        self.wake();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Somebody who carries files over our window.
#[derive(Clone, Copy)]
struct DragSource {
    source: Window,
    /// Are they files?
    fits: bool,
}

/// A window of somebody's that files are held over.
#[derive(Clone, Copy, PartialEq)]
struct DropTarget {
    window: Window,
    /// Where its messages go.
    proxy: Window,
    version: u32,
}

/// The thread's end.
struct Server {
    conn: Arc<RustConnection>,
    atoms: Atoms,
    root: Window,
    /// The window that files are dropped on.
    target: Window,
    /// The invisible one that hears of it.
    own: Window,
    /// Codes of the keys F1 to F8, which come here while the window has the keyboard.
    functions: Vec<(u8, u8)>,
}

impl Server {
    fn of(conn: Arc<RustConnection>, root: Window, target: Window) -> Result<Self, ReplyOrIdError> {
        let atoms = Atoms::new(&*conn)?.reply()?;
        let own = conn.generate_id()?;
        let (width, kind) = (1, WindowClass::INPUT_ONLY);
        conn.create_window(
            COPY_DEPTH_FROM_PARENT,
            own,
            root,
            -1,
            -1,
            width,
            width,
            0,
            kind,
            0,
            &CreateWindowAux::new(),
        )?;
        let (list, id) = (PropMode::REPLACE, AtomEnum::WINDOW);
        conn.change_property32(list, own, atoms.XdndAware, AtomEnum::ATOM, &[VERSION])?;
        conn.change_property32(list, target, atoms.XdndAware, AtomEnum::ATOM, &[VERSION])?;
        // It names itself too: that tells it from what a program that broke has left.
        conn.change_property32(list, own, atoms.XdndProxy, id, &[own])?;
        conn.change_property32(list, target, atoms.XdndProxy, id, &[own])?;
        // So that the end of the window is heard of.
        let watched = ChangeWindowAttributesAux::new().event_mask(EventMask::STRUCTURE_NOTIFY);
        conn.change_window_attributes(target, &watched)?;
        let functions = functions(&conn)?;
        for &(code, _) in &functions {
            conn.grab_key(
                false,
                target,
                ModMask::ANY,
                code,
                GrabMode::ASYNC,
                GrabMode::ASYNC,
            )?;
        }
        conn.flush()?;
        Ok(Self {
            conn,
            atoms,
            root,
            target,
            own,
            functions,
        })
    }

    /// Until the window goes or nobody wants it any more.
    fn serve(&self, exchange: &Mutex<Exchange>, wake: &dyn Fn()) -> Result<(), ReplyError> {
        let mut bringer: Option<DragSource> = None;
        let exchange = || locked(exchange);
        let held = |coming: bool| {
            exchange().coming = coming;
            wake();
        };
        loop {
            let message = match self.conn.wait_for_event()? {
                Event::DestroyNotify(gone) if gone.window == self.target => return Ok(()),
                Event::SelectionNotify(answer) => {
                    if let Some(from) = bringer.take() {
                        let came = self.list(&answer)?;
                        self.finish(from.source, !came.is_empty())?;
                        exchange().came.extend(came);
                        held(false);
                    }
                    continue;
                }
                Event::SelectionRequest(asked) => {
                    self.refuse(&asked)?;
                    continue;
                }
                Event::KeyPress(pressed) => {
                    let known = self.functions.iter().find(|f| f.0 == pressed.detail);
                    exchange().functions.extend(known.map(|f| f.1));
                    wake();
                    continue;
                }
                Event::ClientMessage(message) => message,
                _ => continue,
            };
            let data = message.data.as_data32();
            let kind = message.type_;
            if kind == self.atoms.THUMBLINE_WAKE {
                if exchange().over {
                    return Ok(());
                }
                let files = std::mem::take(&mut exchange().leaving);
                if !files.is_empty() {
                    self.carry(&addresses(&files))?;
                }
            } else if kind == self.atoms.XdndEnter {
                let source = data[0];
                let fits = self.brings_files(data)?;
                bringer = Some(DragSource { source, fits });
                held(fits);
            } else if kind == self.atoms.XdndPosition {
                let fits = bringer.is_some_and(|b| b.source == data[0] && b.fits);
                self.answer(data[0], fits)?;
            } else if kind == self.atoms.XdndLeave {
                bringer = None;
                held(false);
            } else if kind == self.atoms.XdndDrop {
                match bringer.filter(|b| b.fits) {
                    Some(_) => {
                        self.conn.convert_selection(
                            self.own,
                            self.atoms.XdndSelection,
                            self.atoms.List,
                            self.atoms.THUMBLINE_LIST,
                            data[2],
                        )?;
                        self.conn.flush()?;
                    }
                    None => self.finish(data[0], false)?,
                }
            }
        }
    }

    /// Are there files among what is brought?
    fn brings_files(&self, enter: [u32; 5]) -> Result<bool, ReplyError> {
        if enter[1] & 1 == 0 {
            return Ok(enter[2..].contains(&self.atoms.List));
        }
        let (list, atom) = (self.atoms.XdndTypeList, AtomEnum::ATOM);
        let kinds = self
            .conn
            .get_property(false, enter[0], list, atom, 0, 256)?;
        let Some(kinds) = answered(kinds.reply())? else {
            return Ok(false);
        };
        let mut kinds = kinds.value32().into_iter().flatten();
        Ok(kinds.any(|kind| kind == self.atoms.List))
    }

    fn list(&self, answer: &SelectionNotifyEvent) -> Result<Vec<std::path::PathBuf>, ReplyError> {
        if answer.property == x11rb::NONE {
            return Ok(Vec::new());
        }
        let (property, any) = (answer.property, AtomEnum::ANY);
        let found = self
            .conn
            .get_property(true, self.own, property, any, 0, LONGEST)?;
        let found = answered(found.reply())?;
        let text = found.map(|f| String::from_utf8_lossy(&f.value).into_owned());
        Ok(files(&text.unwrap_or_default()))
    }

    fn tell(&self, to: Window, about: Window, kind: u32, data: [u32; 5]) -> Result<(), ReplyError> {
        let event = ClientMessageEvent::new(32, about, kind, data);
        self.conn
            .send_event(false, to, EventMask::NO_EVENT, event)?;
        self.conn.flush()?;
        Ok(())
    }

    /// Whether the files may be let go here.
    fn answer(&self, source: Window, fits: bool) -> Result<(), ReplyError> {
        let action = if fits { self.atoms.XdndActionCopy } else { 0 };
        let data = [self.target, u32::from(fits), 0, 0, action];
        self.tell(source, source, self.atoms.XdndStatus, data)
    }

    fn finish(&self, source: Window, taken: bool) -> Result<(), ReplyError> {
        let action = if taken { self.atoms.XdndActionCopy } else { 0 };
        let data = [self.target, u32::from(taken), action, 0, 0];
        self.tell(source, source, self.atoms.XdndFinished, data)
    }

    /// Carries a list of files with the pointer until its button is let go, and hands it over.
    fn carry(&self, list: &str) -> Result<(), ReplyError> {
        let selection = self.atoms.XdndSelection;
        self.conn
            .set_selection_owner(self.own, selection, CURRENT_TIME)?;
        let mut over: Option<DropTarget> = None;
        let (mut stood, mut asked, mut taken) = (None, false, false);
        let mut let_go: Option<Instant> = None;
        loop {
            while let Some(event) = self.conn.poll_for_event()? {
                match event {
                    Event::DestroyNotify(gone) if gone.window == self.target => return Ok(()),
                    Event::SelectionRequest(request) => self.hand(&request, list)?,
                    Event::SelectionClear(_) => return Ok(()),
                    Event::ClientMessage(m) if m.type_ == self.atoms.XdndStatus => {
                        asked = false;
                        taken = m.data.as_data32()[1] & 1 == 1;
                    }
                    Event::ClientMessage(m) if m.type_ == self.atoms.XdndFinished => return Ok(()),
                    // The window closes.
                    Event::ClientMessage(m) if m.type_ == self.atoms.THUMBLINE_WAKE => {
                        return self.tell(self.own, self.own, m.type_, [0; 5]);
                    }
                    _ => {}
                }
            }
            if let Some(since) = let_go {
                if since.elapsed() > PATIENCE {
                    return Ok(());
                }
                std::thread::sleep(LOOK);
                continue;
            }
            let pointer = self.conn.query_pointer(self.root)?.reply()?;
            let at = (pointer.root_x, pointer.root_y);
            let held = pointer.mask.contains(KeyButMask::BUTTON1);
            let under = self.under(at)?;
            if held && under != over {
                if let Some(left) = over {
                    self.tell(
                        left.proxy,
                        left.window,
                        self.atoms.XdndLeave,
                        [self.own, 0, 0, 0, 0],
                    )?;
                }
                if let Some(place) = under {
                    let data = [self.own, place.version << 24, self.atoms.List, 0, 0];
                    self.tell(place.proxy, place.window, self.atoms.XdndEnter, data)?;
                }
                (over, stood, asked, taken) = (under, None, false, false);
            }
            match over {
                Some(place) if held => {
                    if stood != Some(at) && !asked {
                        let (x, y) = (at.0.cast_unsigned(), at.1.cast_unsigned());
                        let packed = (u32::from(x) << 16) | u32::from(y);
                        let data = [self.own, 0, packed, CURRENT_TIME, self.atoms.XdndActionCopy];
                        self.tell(place.proxy, place.window, self.atoms.XdndPosition, data)?;
                        (stood, asked) = (Some(at), true);
                    }
                }
                Some(place) if taken => {
                    let data = [self.own, 0, CURRENT_TIME, 0, 0];
                    self.tell(place.proxy, place.window, self.atoms.XdndDrop, data)?;
                    let_go = Some(Instant::now());
                }
                Some(place) => {
                    let data = [self.own, 0, 0, 0, 0];
                    return self.tell(place.proxy, place.window, self.atoms.XdndLeave, data);
                }
                None if held => {}
                None => return Ok(()),
            }
            std::thread::sleep(LOOK);
        }
    }

    /// The uppermost window under a place of the screen that takes what is dropped; none of our own.
    fn under(&self, (x, y): (i16, i16)) -> Result<Option<DropTarget>, ReplyError> {
        let mut window = self.root;
        loop {
            let inside = self.conn.translate_coordinates(self.root, window, x, y)?;
            let Some(inside) = answered(inside.reply())? else {
                return Ok(None);
            };
            window = inside.child;
            if window == x11rb::NONE || window == self.target {
                return Ok(None);
            }
            let number = |name: u32, of: Window| -> Result<Option<u32>, ReplyError> {
                let found = self
                    .conn
                    .get_property(false, of, name, AtomEnum::ANY, 0, 1)?;
                let found = answered(found.reply())?;
                Ok(found.and_then(|f| f.value32()?.next()))
            };
            if let Some(version) = number(self.atoms.XdndAware, window)? {
                let proxy = number(self.atoms.XdndProxy, window)?;
                return Ok(Some(DropTarget {
                    window,
                    proxy: proxy.unwrap_or(window),
                    version: version.min(VERSION),
                }));
            }
        }
    }

    /// Hands the list over to whoever asks for it.
    fn hand(&self, request: &SelectionRequestEvent, list: &str) -> Result<(), ReplyError> {
        let property = if request.property == x11rb::NONE {
            request.target
        } else {
            request.property
        };
        let (replace, requestor) = (PropMode::REPLACE, request.requestor);
        if request.target == self.atoms.List {
            let bytes = list.as_bytes();
            self.conn
                .change_property8(replace, requestor, property, request.target, bytes)?;
        } else if request.target == self.atoms.TARGETS {
            let all = [self.atoms.TARGETS, self.atoms.List];
            self.conn
                .change_property32(replace, requestor, property, AtomEnum::ATOM, &all)?;
        } else {
            return self.refuse(request);
        }
        self.reply(request, property)
    }

    fn refuse(&self, request: &SelectionRequestEvent) -> Result<(), ReplyError> {
        self.reply(request, x11rb::NONE)
    }

    fn reply(&self, request: &SelectionRequestEvent, property: u32) -> Result<(), ReplyError> {
        let event = SelectionNotifyEvent {
            response_type: SELECTION_NOTIFY_EVENT,
            sequence: 0,
            time: request.time,
            requestor: request.requestor,
            selection: request.selection,
            target: request.target,
            property,
        };
        self.conn
            .send_event(false, request.requestor, EventMask::NO_EVENT, event)?;
        self.conn.flush()?;
        Ok(())
    }
}

/// The codes of the keys F1 to F8, each with its number.
fn functions(conn: &RustConnection) -> Result<Vec<(u8, u8)>, ReplyError> {
    /// The symbol of F1 (keysymdef.h).
    const F1: u32 = 0xffbe;
    let (low, high) = (conn.setup().min_keycode, conn.setup().max_keycode);
    let keys = conn.get_keyboard_mapping(low, high - low + 1)?.reply()?;
    let each = usize::from(keys.keysyms_per_keycode.max(1));
    let found = keys.keysyms.chunks(each).zip(low..=high);
    let number = |(symbols, code): (&[u32], u8)| {
        let number = symbols.first()?.checked_sub(F1)?;
        (number < 8).then_some((code, number as u8 + 1))
    };
    Ok(found.filter_map(number).collect())
}

/// A reply; none where the window that was asked about is gone.
fn answered<T>(reply: Result<T, ReplyError>) -> Result<Option<T>, ReplyError> {
    match reply {
        Ok(reply) => Ok(Some(reply)),
        Err(ReplyError::X11Error(_)) => Ok(None),
        Err(why) => Err(why),
    }
}
