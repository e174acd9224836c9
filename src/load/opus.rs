//! Opus for the format readers, which know its packets but do not decode them.
//!
//! It gives every frame that the packets hold; what lies before the sound is cut off by the
//! decoder that asks, as for every other format.

use opus_pure::{MAX_PACKET_SAMPLES, OpusDecoder, OpusMSDecoder};
use symphonia::core::audio::{
    AsGenericAudioBufferRef, Audio, AudioBuffer, AudioMut, AudioSpec, Channels,
    GenericAudioBufferRef,
};
use symphonia::core::codecs::CodecInfo;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::codecs::audio::{
    AudioCodecParameters, AudioDecoder, AudioDecoderOptions, FinalizeResult,
};
use symphonia::core::codecs::registry::{RegisterableAudioDecoder, SupportedAudioCodec};
use symphonia::core::errors::{Error, Result};
use symphonia::core::packet::PacketRef;

/// Frames a second; Opus always decodes to this many.
pub(super) const RATE: u32 = 48_000;

/// Frames before the sound where nothing tells of them, as in CAF files: the reference encoder's
/// look-ahead of 6.5 ms (measured on files that ffmpeg made with it).
const USUAL_LEAD: u32 = 312;

const INFO: CodecInfo = CodecInfo {
    short_name: "opus",
    long_name: "Opus",
    profiles: &[],
};

/// The identification header, RFC 7845, section 5.1.
#[derive(Debug, Clone, Copy)]
struct Head {
    channels: usize,
    /// Frames before the sound.
    skip: u16,
    /// 1/256 dB.
    gain: i16,
    family: u8,
}

impl Head {
    fn read(bytes: &[u8]) -> Option<Self> {
        let body = bytes.strip_prefix(b"OpusHead")?;
        let pair = |at: usize| Some([*body.get(at)?, *body.get(at + 1)?]);
        Some(Self {
            channels: usize::from(*body.get(1)?),
            skip: u16::from_le_bytes(pair(2)?),
            gain: i16::from_le_bytes(pair(8)?),
            family: *body.get(10)?,
        })
    }
}

/// Frames before the sound, where the track is Opus; `delay` is what its container says of them.
pub(super) fn lead(parameters: &AudioCodecParameters, delay: Option<u32>) -> Option<u32> {
    let head = || parameters.extra_data.as_deref().and_then(Head::read);
    let told = || delay.or_else(|| head().map(|head| u32::from(head.skip)));
    (parameters.codec == CODEC_ID_OPUS).then(|| told().unwrap_or(USUAL_LEAD))
}

enum Streams {
    One(Box<OpusDecoder>),
    Many(Box<OpusMSDecoder>),
}

/// Decodes the packets of one track.
pub(super) struct Opus {
    parameters: AudioCodecParameters,
    streams: Streams,
    interleaved: Vec<f32>,
    sound: AudioBuffer<f32>,
}

/// The decoder's word for what it met.
fn damage(_: opus_pure::Error) -> Error {
    Error::DecodeError("opus: its data are damaged")
}

impl Opus {
    fn new(parameters: &AudioCodecParameters) -> Result<Self> {
        let told = parameters.extra_data.as_deref().and_then(Head::read);
        // CAF files have no such header; the track itself tells how many channels there are.
        let channels = parameters.channels.as_ref().map_or(2, Channels::count);
        let head = told.unwrap_or(Head {
            channels,
            skip: 0,
            gain: 0,
            family: u8::from(channels > 2),
        });
        let rate = RATE as i32;
        let streams = if head.family == 0 {
            let mut one = OpusDecoder::new(rate, head.channels).map_err(damage)?;
            one.gain_q8 = i32::from(head.gain);
            Streams::One(Box::new(one))
        } else {
            let many = OpusMSDecoder::new(rate, head.channels, head.family).map_err(damage)?;
            Streams::Many(Box::new(many))
        };
        let spec = AudioSpec::new(RATE, Channels::Discrete(head.channels as u16));
        Ok(Self {
            parameters: parameters.clone(),
            streams,
            interleaved: vec![0.0; MAX_PACKET_SAMPLES * head.channels],
            sound: AudioBuffer::new(spec, MAX_PACKET_SAMPLES),
        })
    }
}

impl AudioDecoder for Opus {
    fn reset(&mut self) {
        // Where it cannot be reset the next packets sound a little wrong, no more.
        let _ = match &mut self.streams {
            Streams::One(one) => one.reset_state(),
            Streams::Many(many) => many.reset_state(),
        };
    }

    fn codec_info(&self) -> &CodecInfo {
        &INFO
    }

    fn codec_params(&self) -> &AudioCodecParameters {
        &self.parameters
    }

    fn decode_ref(&mut self, packet: &PacketRef<'_>) -> Result<GenericAudioBufferRef<'_>> {
        self.sound.clear();
        let out = &mut self.interleaved;
        let frames = match &mut self.streams {
            Streams::One(one) => one.decode(packet.data, MAX_PACKET_SAMPLES, out),
            Streams::Many(many) => many.decode(packet.data, MAX_PACKET_SAMPLES, out),
        }
        .map_err(damage)?;
        self.sound.resize_with_silence(frames);
        let width = self.sound.num_planes();
        for channel in 0..width {
            if let Some(plane) = self.sound.plane_mut(channel) {
                let samples = self.interleaved[channel..].iter().step_by(width);
                plane
                    .iter_mut()
                    .zip(samples)
                    .for_each(|(to, from)| *to = *from);
            }
        }
        Ok(self.sound.as_generic_audio_buffer_ref())
    }

    fn finalize(&mut self) -> FinalizeResult {
        FinalizeResult::default()
    }

    fn last_decoded(&self) -> GenericAudioBufferRef<'_> {
        self.sound.as_generic_audio_buffer_ref()
    }
}

impl RegisterableAudioDecoder for Opus {
    fn try_registry_new(
        parameters: &AudioCodecParameters,
        _: &AudioDecoderOptions,
    ) -> Result<Box<dyn AudioDecoder>> {
        Ok(Box::new(Self::new(parameters)?))
    }

    fn supported_codecs() -> &'static [SupportedAudioCodec] {
        const ALL: &[SupportedAudioCodec] = &[SupportedAudioCodec {
            id: CODEC_ID_OPUS,
            info: INFO,
        }];
        ALL
    }
}
