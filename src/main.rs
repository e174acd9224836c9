//! The command line `thumbline`.

mod cli;

fn main() -> std::process::ExitCode {
    cli::main()
}
