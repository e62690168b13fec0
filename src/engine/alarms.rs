//! The sump's alarms: what the rules see goes in, journal lines come out.

use std::sync::Arc;

use crate::alarm::{AlarmManner, Hiding, Transition, Verdict};
use crate::rules::{Condition, Finding, LimitLevel, Rule, judge_limit};
use crate::units::{Quantity, Span, Timestamp};

use super::alarm_list::{AlarmIx, Watched};
use super::event::Effect;
use super::journal::{AlarmLine, JournalBody};
use super::own_inputs::InputsOnce;
use super::setup::ChannelKind;
use super::suppression::Suppressor;
use super::watch::{SumpWatch, judging_after};

/// What is known of a step in the life of an alarm besides the step.
#[derive(Debug, Clone, Default)]
pub(super) struct Told<'a> {
    /// Who did it.
    pub(super) by: Option<&'a str>,
    /// Why, in that person's words.
    pub(super) reason: Option<&'a str>,
    /// What suppresses it.
    pub(super) because: Option<Suppressor>,
}

impl SumpWatch {
    /// Judges the limits that a reading of the channel touches as things stand now. What
    /// limits of one signal look at is worked out once.
    #[inline]
    pub(super) fn watch_limits(&mut self, channel: usize, out: &mut Vec<Effect>) {
        let mut seen = None;
        for place in 0..self.limits_of[channel].len() {
            let limit = usize::from(self.limits_of[channel][place]);
            let signal = self.setup.limits[limit].signal;
            let value = match seen {
                Some((of, value)) if of == signal => value,
                _ => self.signal(signal),
            };
            let turned = self.watch_value(limit, value, out);
            seen = (!turned).then_some((signal, value));
        }
    }

    /// Judges one limit as things stand now.
    pub(super) fn watch_limit(&mut self, limit: usize, out: &mut Vec<Effect>) {
        let value = self.signal(self.setup.limits[limit].signal);
        self.watch_value(limit, value, out);
    }

    /// Judges one limit by this value of its signal; whether its alarm took a step.
    #[inline]
    fn watch_value(&mut self, limit: usize, value: Option<f64>, out: &mut Vec<Effect>) -> bool {
        let setup = self.setup.limits[limit];
        let alarm = self.alarms.limit(limit);
        let value = value.filter(|_| !self.awaits_data(alarm));
        let verdict = judge_limit(setup.level, setup.threshold, setup.dead_band, value);
        let transition = self
            .alarms
            .life_mut(alarm)
            .observe(self.now, verdict, setup.manner);
        if let Some(due) = self.alarms.life(alarm).due(setup.manner) {
            self.expect(due);
        }
        if let Some(transition) = transition {
            self.turned(alarm, transition, out);
        }
        transition.is_some()
    }

    /// Judges the alarm of a rule, of a silence or a doubt by what was found.
    fn judge(&mut self, alarm: AlarmIx, verdict: Verdict, out: &mut Vec<Effect>) {
        let manner = self.alarms.manner(alarm);
        let verdict = match self.awaits_data(alarm) {
            true => Verdict::Unknown,
            false => verdict,
        };
        let transition = self
            .alarms
            .life_mut(alarm)
            .observe(self.now, verdict, manner);
        if let Some(due) = self.alarms.life(alarm).due(manner) {
            self.expect(due);
        }
        if let Some(transition) = transition {
            self.turned(alarm, transition, out);
        }
    }

    /// Whether the alarm's delay waits, after nobody had listened, for what is yet to
    /// be heard: of a limit its own channels, of a rule any probe of the sump. What has
    /// fallen silent is not waited for.
    #[inline]
    fn awaits_data(&self, alarm: AlarmIx) -> bool {
        self.alarms.life(alarm).is_paused() && self.awaits_channels(alarm)
    }

    fn awaits_channels(&self, alarm: AlarmIx) -> bool {
        let watched = self.alarms.watched(alarm);
        let is_of_it = |ix: usize| match watched {
            Watched::Limit(limit) => {
                let mut touched = self.limits_of[ix].iter();
                touched.any(|one| usize::from(*one) == limit)
            }
            _ => matches!(self.setup.channels[ix].kind, ChannelKind::Gauge),
        };
        let mut awaited = false;
        for ix in (0..self.channels.len()).filter(|ix| is_of_it(*ix)) {
            let (watch, setup) = (&self.channels[ix], &self.setup.channels[ix]);
            let is_heard = !watch.is_awaited() && !watch.is_stale(setup, self.now);
            if is_heard {
                return false;
            }
            awaited |= watch.is_awaited() && !watch.is_silent(setup, self.now);
        }
        awaited
    }

    /// The alarm took a step by itself.
    fn turned(&mut self, alarm: AlarmIx, transition: Transition, out: &mut Vec<Effect>) {
        if transition == Transition::Raised
            && let Some(because) = self.suppressor(alarm)
        {
            self.suppress(alarm, because, out);
            return;
        }
        self.tell(alarm, transition, &Told::default(), out);
        if transition == Transition::Returned {
            self.after_return(alarm, out);
        }
        self.review_suppression(out);
    }

    fn after_return(&mut self, alarm: AlarmIx, out: &mut Vec<Effect>) {
        match self.alarms.watched(alarm) {
            Watched::Limit(_) => {
                if self.condition(alarm).calls_for_dose() {
                    self.withdraw_if_idle(out);
                }
            }
            Watched::Silence(_) | Watched::Doubt(_) => self.advise_again(out),
            Watched::Rule(_) => {}
        }
    }

    /// A usable reading of the channel came.
    #[inline]
    pub(super) fn heard(&mut self, channel: usize, out: &mut Vec<Effect>) {
        let silence = self.alarms.silence(channel);
        let life = silence.map(|alarm| self.alarms.life(alarm));
        if life.is_some_and(|life| life.is_active() || life.is_rising()) {
            self.watch_silence(channel, out);
        }
    }

    /// Judges the channel's silence as things stand now.
    pub(super) fn watch_silence(&mut self, channel: usize, out: &mut Vec<Effect>) {
        let Some(alarm) = self.alarms.silence(channel) else {
            return;
        };
        let silent = self.channels[channel].is_silent(&self.setup.channels[channel], self.now);
        self.judge(alarm, Verdict::of(silent), out);
    }

    /// A hand reading was compared with the channel, or the probe was touched.
    pub(super) fn watch_doubt(&mut self, channel: usize, doubted: bool, out: &mut Vec<Effect>) {
        self.judge(self.alarms.doubt(channel), Verdict::of(doubted), out);
    }

    /// Judges every rule, and what suppresses what, if it is time.
    pub(super) fn judge_rules(&mut self, out: &mut Vec<Effect>) {
        if self.now < self.judge_at {
            return;
        }
        self.judge_at = judging_after(self.now);
        self.follow_check_plan();
        self.follow_start_up();
        self.follow_courses();
        self.follow_rates();
        self.follow_charts();
        self.follow_conductivity();
        self.watch_prism();
        let inputs = InputsOnce::default();
        for alarm in self.alarms.rules() {
            let verdict = self.found_by_rule(alarm, &inputs).verdict;
            self.judge(alarm, verdict, out);
        }
        self.review_suppression(out);
    }

    /// What the rule behind the alarm finds; nothing of other alarms.
    fn found_by_rule(&self, alarm: AlarmIx, inputs: &InputsOnce) -> Finding {
        match self.alarms.rule(alarm) {
            Some(rule) => self.finding(rule, inputs),
            None => Finding::plain(Verdict::Unknown),
        }
    }

    /// Delays, shelves and the waits before something is raised again that end
    /// now.
    pub(super) fn end_alarm_timers(&mut self, out: &mut Vec<Effect>) {
        for alarm in self.alarms.all() {
            let manner = self.alarms.manner(alarm);
            let is_due = |watch: &Self| {
                let due = watch.alarms.life(alarm).due(manner);
                due.is_some_and(|due| due <= watch.now)
            };
            if !is_due(self) {
                continue;
            }
            self.let_go_before_shelf_ends(alarm);
            if let Some(transition) = self.alarms.life_mut(alarm).end_shelf(self.now) {
                self.came_forth(alarm, transition, &Told::default(), out);
            }
            match self.alarms.watched(alarm) {
                Watched::Limit(limit) => self.watch_limit(limit, out),
                Watched::Silence(channel) => self.watch_silence(channel, out),
                Watched::Doubt(channel) => {
                    let doubted = self.alarms.is_doubted(channel);
                    self.watch_doubt(channel, doubted, out);
                }
                Watched::Rule(_) => {
                    let found = self.found_by_rule(alarm, &InputsOnce::default());
                    let verdict = found.verdict;
                    self.judge(alarm, verdict, out);
                }
            }
        }
    }

    /// What is over when its shelf ends is not told for a moment only to return:
    /// nobody waits for its off-delay.
    fn let_go_before_shelf_ends(&mut self, alarm: AlarmIx) {
        let life = self.alarms.life(alarm);
        let ends = life.shelved_until().is_some_and(|until| until <= self.now);
        if ends && life.is_active() && self.is_over(alarm) {
            let manner = AlarmManner {
                off: Span::ZERO,
                ..self.alarms.manner(alarm)
            };
            let now = self.now;
            // It is hidden, so that this is no step that is told.
            self.alarms
                .life_mut(alarm)
                .observe(now, Verdict::Inside, manner);
        }
    }

    /// What hid the alarm is gone.
    pub(super) fn came_forth(
        &mut self,
        alarm: AlarmIx,
        transition: Transition,
        told: &Told<'_>,
        out: &mut Vec<Effect>,
    ) {
        self.tell(alarm, transition, told, out);
        if !self.alarms.life(alarm).is_active() {
            self.after_return(alarm, out);
        }
    }

    /// A person takes the alarm with this id on.
    pub(super) fn acknowledge(&mut self, id: &str, by: Option<&str>, out: &mut Vec<Effect>) {
        let Some(alarm) = self.alarm_with_id(id) else {
            return;
        };
        if let Some(transition) = self.alarms.life_mut(alarm).acknowledge(self.now) {
            let told = Told {
                by,
                ..Told::default()
            };
            self.tell(alarm, transition, &told, out);
            self.find_next_due();
        }
    }

    /// The acknowledgement of the alarm with this id was taken back.
    pub(super) fn unacknowledge(&mut self, id: &str, by: Option<&str>, out: &mut Vec<Effect>) {
        let Some(alarm) = self.alarm_with_id(id) else {
            return;
        };
        if let Some(transition) = self.alarms.life_mut(alarm).unacknowledge() {
            let told = Told {
                by,
                ..Told::default()
            };
            self.tell(alarm, transition, &told, out);
        }
    }

    /// A person lets go of a latched alarm.
    pub(super) fn reset(&mut self, name: &str, by: Option<&str>, out: &mut Vec<Effect>) {
        let Some(alarm) = self.alarm_called(name) else {
            return;
        };
        if let Some(transition) = self.alarms.life_mut(alarm).reset() {
            let told = Told {
                by,
                ..Told::default()
            };
            self.tell(alarm, transition, &told, out);
        }
    }

    /// A person hides an alarm, or brings it back.
    pub(super) fn hide(
        &mut self,
        name: &str,
        hiding: Hiding,
        told: &Told<'_>,
        out: &mut Vec<Effect>,
    ) {
        let Some(alarm) = self.alarm_called(name) else {
            return;
        };
        let manner = self.alarms.manner(alarm);
        if matches!(hiding, Hiding::Shelve(_) | Hiding::TakeOut) {
            self.start_up.strike(alarm);
        }
        if let Some(transition) = self.alarms.life_mut(alarm).hide(hiding) {
            match hiding {
                Hiding::Unshelve | Hiding::PutBack => self.came_forth(alarm, transition, told, out),
                _ => self.tell(alarm, transition, told, out),
            }
        }
        if let Some(due) = self.alarms.life(alarm).due(manner) {
            self.expect(due);
        }
    }

    /// The alarm of which this is the id or the name.
    pub(super) fn alarm_called(&self, name: &str) -> Option<AlarmIx> {
        self.alarm_with_id(name).or_else(|| self.alarms.named(name))
    }

    fn alarm_with_id(&self, id: &str) -> Option<AlarmIx> {
        let mut all = self.alarms.all();
        all.find(|&alarm| self.alarm_id(alarm).as_deref() == Some(id))
    }

    /// Writes a step to the journal, with advice when people are told of
    /// something new.
    pub(super) fn tell(
        &mut self,
        alarm: AlarmIx,
        transition: Transition,
        told: &Told<'_>,
        out: &mut Vec<Effect>,
    ) {
        let condition = self.condition(alarm);
        let life = *self.alarms.life(alarm);
        let annunciated = transition.annunciates(life.state());
        let advice = annunciated.then(|| self.advise(&condition, out));
        let evidence = self.evidence(alarm);
        let beside = annunciated.then(|| Box::new(self.alarm_evidence(&condition)));
        let signal = self.signal_behind(&condition).map(Box::new);
        let line = AlarmLine {
            id: self.alarm_id(alarm).unwrap_or_default(),
            condition,
            priority: self.alarms.spec(alarm).priority,
            transition,
            state: life.state(),
            since: evidence.since.or(life.since()).unwrap_or(self.now),
            value: evidence.value,
            unit: evidence.unit,
            limit: evidence.limit,
            window: evidence.window,
            signal,
            by: told.by.map(str::to_owned),
            reason: told.reason.map(str::to_owned),
            because: told.because.clone(),
            until: life.shelved_until(),
            own: match self.alarms.rule(alarm) {
                Some(Rule::Own(own)) => Some(Arc::clone(&own.words)),
                _ => None,
            },
            silent_with: self.fell_silent_with(alarm, annunciated),
            instrument: self.instrument_told(alarm).map(Box::new),
            source: None,
            stock: None,
            forward: None,
            disk: None,
            start_up: None,
            advice,
            evidence: beside,
        };
        self.journal(JournalBody::Alarm(line), out);
        self.show(out);
    }

    pub(super) fn evidence(&self, alarm: AlarmIx) -> Evidence {
        match self.alarms.watched(alarm) {
            Watched::Limit(limit) => {
                let limit = self.setup.limits[limit];
                Evidence {
                    value: self.signal(limit.signal),
                    limit: Some(limit.threshold),
                    window: Some(self.window(limit.signal)),
                    unit: Some(limit.signal.unit()),
                    since: None,
                }
            }
            Watched::Silence(channel) | Watched::Doubt(channel) => Evidence {
                value: self.value_of(channel),
                unit: Some(self.setup.channels[channel].quantity.unit()),
                ..Evidence::default()
            },
            Watched::Rule(_) => {
                let found = self.found_by_rule(alarm, &InputsOnce::default());
                Evidence {
                    value: found.value,
                    limit: found.limit,
                    unit: found.unit,
                    since: found.since,
                    window: self.window_of_rule(&self.alarms.spec(alarm).condition),
                }
            }
        }
    }

    /// The band between the signal's low and high limits.
    pub(super) fn window(&self, signal: Quantity) -> (Option<f64>, Option<f64>) {
        let limit = |level: LimitLevel| {
            let mut of_signal = self.setup.limits.iter().filter(|l| l.signal == signal);
            of_signal.find(|l| l.level == level).map(|l| l.threshold)
        };
        (limit(LimitLevel::Low), limit(LimitLevel::High))
    }

    pub(super) fn condition(&self, alarm: AlarmIx) -> Condition {
        self.alarms.spec(alarm).condition.clone()
    }

    /// The id of the present or last occurrence; of one that never was raised,
    /// its name.
    pub(super) fn alarm_id(&self, alarm: AlarmIx) -> Option<String> {
        let (sump, condition) = (&self.setup.name, &self.alarms.spec(alarm).condition);
        let raised = self.alarms.life(alarm).raised()?;
        Some(format!("{sump}/{condition}/{raised}"))
    }

    /// Names of the alarms that there are, for those who named another.
    pub(super) fn alarm_names(&self) -> Vec<String> {
        let each = self.alarms.each();
        each.map(|(_, spec, _)| spec.condition.to_string())
            .collect()
    }
}

/// Value, limit, window and unit of an alarm.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Evidence {
    pub(super) value: Option<f64>,
    pub(super) limit: Option<f64>,
    window: Option<(Option<f64>, Option<f64>)>,
    pub(super) unit: Option<&'static str>,
    pub(super) since: Option<Timestamp>,
}
