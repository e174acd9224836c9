//! The plug-in inside an independent CLAP host, in process.
