//! The crew of the demonstration: shoots, waits until the book has it, reads the answer, and mends its mistakes.

use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};

use super::building::{Act, Building};
use crate::book::event::Origin;
use crate::book::reading::Role;
use crate::cli::Failure;
use crate::daemon::{Answer, Ask};
use crate::simulate::scene::{Level, Setup, Shot, Sight};
use crate::simulate::{self, Chance, Frame, Instrument, Spoil, Voice};
use crate::units::Length;

/// Seconds that a crew takes for a shot, walking included. Invented.
pub(in crate::cli) const SHOT_S: f64 = 13.0;
/// Seconds that a command takes.
const COMMAND_S: f64 = 6.0;
/// How long the book may take to have a shot before the demonstration is broken off: far longer than a slow disk.
const PATIENCE: Duration = Duration::from_secs(20);

/// How far the book is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Progress {
    pub(super) readings: usize,
    pub(super) refused: usize,
    pub(super) listening: bool,
}

/// The crew, with the instrument in its hands.
pub(super) struct Crew<'a> {
    pub(super) instrument: &'a Instrument,
    pub(super) voice: Voice,
    pub(super) chance: Chance,
    pub(super) level: Level,
    pub(super) speed: f64,
    pub(super) asks: mpsc::Sender<Ask>,
    pub(super) progress: watch::Receiver<Progress>,
}

impl Crew<'_> {
    /// Does the day's work.
    pub(super) async fn work(mut self, building: &Building) -> Result<(), Failure> {
        self.wait(|progress| progress.listening).await?;
        let mut number = 0;
        for act in building.day() {
            match act {
                Act::Say(words) => {
                    self.pause(COMMAND_S).await;
                    self.say(words).await?;
                }
                Act::Mark(setup, mark) => {
                    let setup = &building.setups()[*setup];
                    let sight = &setup.sides[*mark];
                    self.say(&format!("inter {}", sight.point)).await?;
                    number += 1;
                    self.shoot(setup, sight, Length::ZERO, number, Role::Intermediate, Way::Whole).await?;
                }
                Act::Back(setup) => {
                    let setup = &building.setups()[*setup];
                    number += 1;
                    self.shoot(setup, &setup.back, setup.back_sank, number, Role::Back, Way::Whole).await?;
                }
                Act::Fore(setup) => {
                    let setup = &building.setups()[*setup];
                    number += 1;
                    self.shoot(setup, &setup.fore, Length::ZERO, number, Role::Fore, Way::Whole).await?;
                }
                Act::ForeAt(setup, distance) => {
                    let setup = &building.setups()[*setup];
                    let sight = Sight { distance: Length::from_mm(*distance), ..setup.fore.clone() };
                    number += 1;
                    self.shoot(setup, &sight, Length::ZERO, number, Role::Fore, Way::Whole).await?;
                }
                Act::Damaged(setup) => {
                    let setup = &building.setups()[*setup];
                    number += 1;
                    self.shoot(setup, &setup.fore, Length::ZERO, number, Role::Fore, Way::Damaged).await?;
                }
            }
        }
        self.pause(COMMAND_S).await;
        Ok(())
    }

    async fn shoot(
        &mut self,
        setup: &Setup,
        sight: &Sight,
        sank: Length,
        number: u64,
        role: Role,
        way: Way,
    ) -> Result<(), Failure> {
        self.pause(SHOT_S).await;
        let before = *self.progress.borrow_and_update();
        let mut reading = self.level.reads(setup.line, sight, sank, &mut self.chance).map_err(Failure::outcome)?;
        reading.sequence = Some(number);
        let point = sight.point.clone();
        let shot = Shot { setup: 0, role, point, aimed: reading.staff.value(), reading };
        let frame: Frame = self.voice.shot(&shot).map_err(Failure::outcome)?;
        let act = match way {
            Way::Whole => simulate::Act::Send(frame),
            Way::Damaged => simulate::Act::Spoil(frame, Spoil::Damage),
        };
        self.instrument.play(vec![act]).map_err(Failure::outcome)?;
        match way {
            Way::Whole => self.wait(|now| now.readings > before.readings).await,
            Way::Damaged => self.wait(|now| now.refused > before.refused).await,
        }
    }

    async fn say(&mut self, words: &str) -> Result<(), Failure> {
        let (to, answer) = oneshot::channel();
        let words = words.split_whitespace().map(str::to_owned).collect();
        let ask = Ask { words, by: Origin::Demo, answer: Some(to) };
        let gone = || Failure::outcome("the demonstration was stopped");
        self.asks.send(ask).await.map_err(|_| gone())?;
        match answer.await.map_err(|_| gone())? {
            Answer::Done(_) => Ok(()),
            Answer::Refused(why) | Answer::NotUnderstood(why) => Err(Failure::outcome(why)),
        }
    }

    async fn pause(&self, seconds: f64) {
        tokio::time::sleep(Duration::from_secs_f64(seconds / self.speed)).await;
    }

    async fn wait(&mut self, until: impl Fn(&Progress) -> bool) -> Result<(), Failure> {
        match tokio::time::timeout(PATIENCE, self.progress.wait_for(until)).await {
            Ok(Ok(_)) => Ok(()),
            Ok(Err(_)) => Err(Failure::outcome("the demonstration was stopped")),
            Err(_) => Err(Failure::outcome("a shot of the simulated level did not reach the book")),
        }
    }
}

/// How a record reaches the port.
#[derive(Clone, Copy)]
enum Way {
    Whole,
    Damaged,
}
