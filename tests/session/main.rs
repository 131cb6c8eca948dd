//! Whole runs with a clock that stands still: bytes in, events kept, the crew told.
//!
//! Each row is a promise against one kind of fault. A dagger marks those whose promise is also broken on purpose here,
//! to see that the check turns red. Elsewhere means: in another test file, or beside the code.
//!
//! | row | fault | test |
//! |---|---|---|
//! | 1 † | unplugged while idle | `line::a_cable_pulled_while_idle_is_told_at_once`; on a terminal `whole/listening.rs`, processor time `link/serial/tests.rs` |
//! | 2 † | unplugged inside a record | `bytes::half_a_record_is_not_glued_to_what_comes_after_an_unplugging`; on a terminal `whole/listening.rs` |
//! | 10 | started twice on one job | `whole/trouble.rs`, `store/refuse.rs` |
//! | 12 † | wrong speed | `bytes::garbage_of_a_wrong_speed_is_never_booked_and_told_after_three_seconds` |
//! | 13 | joined inside a record | `bytes::the_tail_of_a_record_is_a_fragment_and_the_next_is_booked` |
//! | 14 † | damage that the checksum misses | `protocol/decoder/tests.rs` |
//! | 15 | a changed digit, no checksum | `bytes::what_no_check_protects_says_so_wherever_it_shows` |
//! | 16 | echo, prompts, noise | `bytes::echo_prompts_and_noise_are_kept_each_under_its_name` |
//! | 17 | a line without end | `endless::a_hundred_megabytes_without_an_end_take_no_memory` |
//! | 18 † | slow disk | `keeping::a_slow_disk_loses_nothing_and_the_lag_is_told`; a real sync `store/faults.rs` |
//! | 20 † | record sent twice | `bytes::a_record_sent_twice_is_used_once_and_kept_twice` |
//! | 23 † | any chunking | `chunks::any_cut_of_the_stream_gives_the_same_events` |
//! | 36 † | killed at any instant | `whole/crash.rs`, `store/crash.rs` |
//! | 37 † | power cut, where root is at hand | `store/power.rs` |
//! | 39, 40 | a write fails | `keeping::what_could_not_be_kept_is_not_shown_and_follows_when_it_can_be`, and others there; system calls `store/faults.rs` |
//! | 47 | wall clock steps | `line::a_jump_of_the_wall_clock_is_an_event_and_moves_no_age_and_no_wait`; the machine's clock `whole/trouble.rs` |
//! | 49 † | the port's thread dies, or a part of the loop | `line::a_dead_port_thread_ends_the_run_badly`; with others beside it `several.rs` |
//! | 50 | standard output, log disk gone | `whole/trouble.rs` |
//! | 51 | stopped inside a record | `line::told_to_stop_inside_a_record_it_keeps_the_half`; with much still to keep `keeping::a_stop_with_a_backlog_keeps_all_of_it_within_a_second`; the signal `whole/listening.rs` |
//! | 61 † | feet in a metre job and the reverse | `telling::a_record_in_another_unit_is_kept_out_of_the_book` |
//! | 62 | limit met exactly; a tie in the last digit | `telling::a_limit_met_exactly_is_kept_and_the_last_digit_beyond_is_not`; ties `units/length.rs` |
//! | 63 † | a value flickers across its limit | `telling::a_value_that_crosses_its_limit_two_hundred_times_is_announced_once` |
//! | 65 † | strike, role, undo | `telling::what_was_struck_moved_or_taken_back_can_still_be_read` |
//! | 66 | record altered afterwards | `whole/afterwards.rs`, `store/altered.rs` |
//! | 67 † | restart with findings standing | `telling::a_restart_announces_nothing_anew` |
//! | 69 | simulated instrument | `telling::everything_of_a_simulated_run_says_so`; prints `whole/demo.rs` |

#[path = "../harness/mod.rs"]
mod harness;

mod activities;
mod bytes;
mod chunks;
mod endless;
mod keeping;
mod line;
mod rig;
mod several;
mod soak;
mod stand_ins;
mod telling;
