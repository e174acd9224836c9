//! How the plug-in is linked.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    // A thread that waits for a stalled file may outlive the last instance (`supervisor/queue.rs`): its code
    // has to stay where it is when the host unloads the plug-in.
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "linux") {
        println!("cargo:rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
}
