//! Looking for sound devices before the program of its own starts: which system runs, what it has,
//! and the framework's options that make it so. What fails is said in the window.

use crate::sound::{AudioSystem, Choice, SoundView};
use cpal::traits::{DeviceTrait, HostTrait};
use jack::{Client, ClientOptions, PortFlags};
use std::time::Duration;

/// Options that a player gave and that settle the sound without us.
const SETTLED: [&str; 8] = [
    "-b",
    "--backend",
    "--input-device",
    "--output-device",
    "--connect-jack-inputs",
    "-r",
    "--sample-rate",
    "--help",
];

/// As the framework calls the program for JACK.
const NAME: &str = "thumbline";

/// Buffers that are tried, the chosen one first.
const FRAMES: [u32; 5] = [512, 256, 1024, 2048, 128];

/// What there is for `choice`, and the options that take it. Takes come in where the guitar does: the
/// layout without a side input, which nothing outside a host could be connected to.
pub fn look(choice: Choice, given: &[String]) -> (SoundView, Vec<String>) {
    let settled = given.iter().any(|arg| {
        SETTLED
            .iter()
            .any(|s| arg == s || arg.starts_with(&format!("{s}=")))
    });
    let mut options = Vec::new();
    if !given
        .iter()
        .any(|arg| arg == "-l" || arg.starts_with("--audio-layout"))
    {
        options.extend(["--audio-layout".to_owned(), "2".to_owned()]);
    }
    let mut view = SoundView {
        choice,
        ..SoundView::default()
    };
    if settled {
        view.fault = Some("The sound devices were chosen on the command line".to_owned());
        return (view, options);
    }
    let jack = match jack() {
        Jack::Ports(ports) => Some(ports),
        Jack::Taken => {
            view.fault = Some("Another Thumbline plays through JACK already".to_owned());
            None
        }
        Jack::None => None,
    };
    let alsa = Alsa::look();
    view.systems
        .extend(jack.is_some().then_some(AudioSystem::Jack));
    view.systems
        .extend(alsa.is_some().then_some(AudioSystem::Alsa));
    let wanted = view.choice.system.filter(|s| view.systems.contains(s));
    if view.choice.system.is_some() && wanted.is_none() {
        let name = view.choice.system.map_or("", AudioSystem::name);
        view.fault
            .get_or_insert_with(|| format!("{name} does not run now"));
    }
    let more = match (wanted.or(view.systems.first().copied()), jack, alsa) {
        (Some(AudioSystem::Jack), Some(ports), _) => Some(by_jack(&mut view, ports)),
        (Some(AudioSystem::Alsa), _, Some(alsa)) => by_alsa(&mut view, &alsa),
        _ => None,
    };
    options.extend(more.unwrap_or_else(|| {
        let why = "No sound device could be opened: nothing is heard, nothing can be recorded";
        view.fault.get_or_insert_with(|| why.to_owned());
        view.silent = true;
        vec!["--backend".to_owned(), "dummy".to_owned()]
    }));
    (view, options)
}

/// What there is of JACK.
enum Jack {
    /// No server runs.
    None,
    /// Somebody has this program's name there: another one that runs.
    Taken,
    /// Ports that sound comes in by.
    Ports(Vec<String>),
}

/// Looks under the name that the framework will take: a server gives it once, and not at once again
/// where this program was there a moment ago.
fn jack() -> Jack {
    for _ in 0..8 {
        match Client::new(NAME, ClientOptions::NO_START_SERVER) {
            Err(_) => return Jack::None,
            Ok((client, status)) if status.is_empty() => {
                let audio = Some("32 bit float mono audio");
                let sources = PortFlags::IS_OUTPUT | PortFlags::IS_PHYSICAL;
                return Jack::Ports(client.ports(None, audio, sources));
            }
            Ok(_) => std::thread::sleep(Duration::from_millis(250)),
        }
    }
    Jack::Taken
}

fn by_jack(view: &mut SoundView, ports: Vec<String>) -> Vec<String> {
    view.system = Some(AudioSystem::Jack);
    view.inputs = ports;
    let mut options = vec!["--backend".to_owned(), "jack".to_owned()];
    if let Some(port) = there(view.choice.input.as_ref(), &view.inputs, &mut view.fault) {
        options.extend(["--connect-jack-inputs".to_owned(), port]);
    }
    options
}

/// The chosen one, where it is there; else it is said that it is not.
fn there(chosen: Option<&String>, known: &[String], fault: &mut Option<String>) -> Option<String> {
    let chosen = chosen?;
    if known.contains(chosen) {
        return Some(chosen.clone());
    }
    *fault = Some(format!("{chosen} is not there now"));
    None
}

struct Alsa {
    host: cpal::Host,
    inputs: Vec<String>,
    outputs: Vec<String>,
}

impl Alsa {
    /// What it has; none where nothing can be heard through it.
    fn look() -> Option<Self> {
        let host = cpal::host_from_id(cpal::HostId::Alsa).ok()?;
        let names = |devices: &mut dyn Iterator<Item = cpal::Device>| {
            let mut names: Vec<String> = devices
                .filter_map(|d| d.description().ok().map(|d| d.name().to_owned()))
                .collect();
            names.sort();
            names.dedup();
            names
        };
        let outputs = names(&mut host.output_devices().ok()?);
        let inputs = host.input_devices().map(|mut d| names(&mut d));
        host.default_output_device()?;
        Some(Self {
            inputs: inputs.unwrap_or_default(),
            outputs,
            host,
        })
    }

    /// A rate and a buffer that the output takes in stereo, as near to the chosen ones as it goes.
    fn fitting(&self, choice: &Choice, output: Option<&str>) -> Option<(u32, u32)> {
        let named = |d: &cpal::Device| {
            let name = d.description().ok().map(|d| d.name().to_owned());
            output.is_some_and(|wanted| name.as_deref() == Some(wanted))
        };
        let device = match output {
            Some(_) => self.host.output_devices().ok()?.find(named)?,
            None => self.host.default_output_device()?,
        };
        let known: Vec<_> = device
            .supported_output_configs()
            .ok()?
            .filter(|c| c.channels() == 2)
            .collect();
        let takes = |rate: u32, frames: u32| {
            known.iter().any(|c| {
                let size = match c.buffer_size() {
                    cpal::SupportedBufferSize::Range { min, max } => {
                        (*min..=*max).contains(&frames)
                    }
                    cpal::SupportedBufferSize::Unknown => false,
                };
                size && (c.min_sample_rate()..=c.max_sample_rate()).contains(&rate)
            })
        };
        let rates = [choice.rate, 48_000, 44_100, 96_000];
        let frames = std::iter::once(choice.frames).chain(FRAMES);
        frames
            .flat_map(|frames| rates.map(|rate| (rate, frames)))
            .find(|&(rate, frames)| takes(rate, frames))
    }
}

fn by_alsa(view: &mut SoundView, alsa: &Alsa) -> Option<Vec<String>> {
    view.inputs.clone_from(&alsa.inputs);
    view.outputs.clone_from(&alsa.outputs);
    let output = there(view.choice.output.as_ref(), &alsa.outputs, &mut view.fault);
    let (rate, frames) = alsa.fitting(&view.choice, output.as_deref())?;
    if (rate, frames) != (view.choice.rate, view.choice.frames) {
        let text = format!("The device runs at {rate} Hz and {frames} frames");
        view.fault.get_or_insert(text);
        (view.choice.rate, view.choice.frames) = (rate, frames);
    }
    view.system = Some(AudioSystem::Alsa);
    let mut options: Vec<String> = [
        "--backend",
        "alsa",
        "--sample-rate",
        &rate.to_string(),
        "--period-size",
        &frames.to_string(),
    ]
    .map(str::to_owned)
    .into();
    if let Some(name) = output {
        options.extend(["--output-device".to_owned(), name]);
    }
    if let Some(name) = there(view.choice.input.as_ref(), &alsa.inputs, &mut view.fault) {
        options.extend(["--input-device".to_owned(), name]);
    }
    Some(options)
}
