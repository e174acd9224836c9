//! Thumbline as a program of its own, on ALSA or JACK.

fn main() -> std::process::ExitCode {
    if nice_plug::nice_export_standalone::<thumbline_plugin::Thumbline>() {
        std::process::ExitCode::SUCCESS
    } else {
        std::process::ExitCode::FAILURE
    }
}
