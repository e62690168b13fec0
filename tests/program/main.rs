//! The built program against real peers.

// Modules of one test program, each the other's neighbour, with deadlines by
// the real clock.
#![allow(unreachable_pub, clippy::disallowed_methods)]

mod alarms;
mod broker;
mod command_line;
mod compared;
mod confirmed;
mod consumption;
mod control;
mod daemon;
mod demo;
mod endurance;
mod entries;
mod escalation;
mod export;
mod faults;
mod flood;
mod forward;
mod import;
mod kept_states;
mod kill;
mod lines;
mod link;
mod mail;
mod mail_server;
mod message_way;
mod metrics;
mod modbus;
mod pages;
mod password;
mod plant;
mod proxy;
mod receiver;
mod refused;
mod replay;
mod report;
mod rough_server;
mod scripted;
mod senml;
mod series_store;
mod shutdown;
mod slave;
mod source;
mod source_gone;
mod sparkplug;
mod stream;
mod survey;
mod tls;
mod traps;
mod versions;
mod viewers;
mod wait;
mod webhook;
mod wires;
