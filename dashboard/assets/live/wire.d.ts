/* Written by `python -m dashboard.live.wire` from dashboard/live/wire.py: change that. */

/** A channel of the session, as the sensors file has it. */
export interface ChannelHead {
  /** its name. */
  name: string;
  /** its place in the rig. */
  at: string;
  /** unit of its values. */
  unit: "N" | "m";
  /** unit in which a person enters its readings; "" where a device sends them. */
  entered_in: string;
}

/** A haul force at which hauling stops. */
export interface StopLevelText {
  /** the level, N. */
  force_N: number;
  /** what sets it. */
  because: string;
}

/** What a page is sent once, and again where the rig is changed. */
export interface Head {
  /** of the rig. */
  title: string;
  /** name of the session's folder. */
  folder: string;
  /** system in which the page shows quantities. */
  units: string;
  /** whether the devices are simulated. */
  demo: boolean;
  /** all channels, in the order of the parts `channel:k`. */
  channels: ChannelHead[];
  /** name of the force channel that the graph draws; null where there is none. */
  drawn: string | null;
  /** time without a reading after which the graph is left open, s. */
  drawn_stale_s: number;
  /** whether there is a cell at the haul; then it is the one that is drawn. */
  haul_cell: boolean;
  /** ideal mechanical advantage of the rig. */
  ideal_ma: number;
  /** predicted mechanical advantage. */
  model_ma: number;
  /** its expanded uncertainty. */
  model_ma_U95: number;
  /** predicted haul force, N; null without a haul cell or a load. */
  haul_force_N: number | null;
  /** its expanded uncertainty, N. */
  haul_force_U95_N: number;
  /** names of the captures that hold the load while the haul rests. */
  holds: string[];
  /** how far the load is to go, by the rig that the session began with, m. */
  pull_distance_m: number | null;
  /** whether a counter is at the load. */
  load_counted: boolean;
  /** whose travel the graph draws; "" for none. */
  travel_title: string;
  /** which part of the rig sets the stop level, or why none does. */
  because: string;
  /** how many strands and parts are rated. */
  rated: number;
  /** how many strands and parts there are. */
  parts: number;
  /** caution level of the haul cell, N. */
  caution_N: number | null;
  /** stop levels of the haul cell, the lowest first. */
  stop_levels: StopLevelText[];
  /** width of the graph's narrowest bin, s. */
  bin_s: number;
  /** index of the haul strand in `strands`. */
  haul_strand: number;
  /** names of the strands, in rope order. */
  strands: string[];
}

/** What a rated part carries. */
export interface NearPart {
  /** of the part. */
  name: string;
  /** force on it, N. */
  force_N: number | null;
  /** force that it is allowed, N. */
  limit_N: number | null;
  /** force_N / limit_N. */
  share: number | null;
  /** whether it carries more than it is allowed. */
  over: boolean;
  /** "cell" where its own cell reads the force, "most" where it carries at most that, else "". */
  by: string;
}

/** The state of the haul in words; all that is sent while the session is still read. */
export interface Waiting {
  /** code of the state, of the haul or of the recorder. */
  state: string;
  /** the state for people. */
  words: string;
  /** more about it. */
  detail: string;
}

/** The session at this moment; sent with every answer. */
export interface Now extends Waiting {
  /** time of the session, s. */
  time_s?: number;
  /** haul force, N; null where none is to be shown. */
  force_N?: number | null;
  /** highest level that force_N is above. */
  reached?: "" | "caution" | "stop";
  /** force_N / lowest stop level. */
  stop_share?: number | null;
  /** mean haul force of the last haul stroke, N. */
  last_haul_N?: number | null;
  /** time since that stroke ended, s. */
  since_haul_s?: number | null;
  /** force on the captures that hold the load, at most, N. */
  held_N?: number | null;
  /** number of the rig's drawing; another one is to be asked for. */
  drawing?: number;
  /** rated part that is nearest to its limit. */
  nearest?: NearPart | null;
  /** highest haul force of the session, N. */
  peak_N?: number | null;
  /** its time, s. */
  peak_s?: number | null;
  /** whether peak_N is above the lowest stop level. */
  peak_over?: boolean;
  /** load travel since the session began, m. */
  moved_m?: number | null;
  /** load travel to the end of the job, m. */
  to_go_m?: number | null;
  /** rope hauled less rope fed back, m. */
  rope_out_m?: number | null;
  /** load travel until two bodies meet, m. */
  load_left_m?: number | null;
  /** rope until then, m. */
  rope_left_m?: number | null;
  /** how near to two-blocked that is. */
  nearness?: "met" | "soon" | "near" | "far" | null;
}

/** The bodies that meet next. */
export interface NextMeeting {
  /** their names. */
  meets: string[];
  /** why it is not known how much is left; "" where it is known. */
  why: string;
}

/** How load travel was worked out where no counter is at the load. */
export interface Moved {
  /** whether the way to go is that of a rig that is no longer in use. */
  first_rig: boolean;
  /** sum over haul strokes, m; null where load travel does not come from the rope. */
  hauled_m: number | null;
  /** sum over strokes that lowered, m. */
  lowered_m: number | null;
  /** with how many rigs strokes were made. */
  rigs: number;
  /** why it is not known; "" where it is known. */
  why: string;
}

/** All alarms in numbers. */
export interface Alarms {
  /** how many are on, or off and not acknowledged. */
  count: number;
  /** highest level of those that are not acknowledged: 0 none, 1 caution, 2 stop. */
  sounding: number;
}

/** An alarm that is on, or off and not acknowledged. */
export interface Alarm {
  /** level now: 0 none, 1 caution, 2 stop. */
  level: number;
  /** highest level since it was acknowledged. */
  worst: number;
  /** what is at risk, in a few words. */
  label: string;
  /** how its level came about. */
  how: string;
  /** time at which it rose last, s. */
  since_s: number;
  /** force on it then, N; of an alarm on travel the travel, m. */
  value: number | null;
  /** the level that was passed, in the unit of value; null where it is not known. */
  limit: number | null;
  /** whether it is acknowledged. */
  acknowledged: boolean;
  /** index in the channels of the head; null where they do not hold it. */
  channel: number | null;
}

/** What the recorder did with a request of a page. */
export interface Answered {
  /** of the request. */
  id: string;
  /** kind of the row in events.csv; "refused" where the request was refused. */
  kind: string;
  /** what the recorder wrote. */
  text: string;
}

/** Something at a time in the session. */
export interface Happened {
  /** its time, s. */
  time_s: number;
  /** kind of the event; of an alarm in `last_alarm` its level. */
  kind: string;
  /** what happened. */
  text: string;
}

/** What the graph marks: a stroke, a reset, a mark, a shock, a slip.
 *   from_s: its beginning, s.
 *   to_s: its end, s; null while it goes on.
 *   kind: haul, lower, reset, mark, shock, slip, saturated or shortly over.
 */
export type Span = [from_s: number, to_s: number | null, kind: string];

/** A channel at this moment. */
export interface ChannelNow {
  /** last value, N or m; null where none is to be shown. */
  value: number | null;
  /** readings in a second; null once the recording is over. */
  rate_Hz: number | null;
  /** age of the last reading, s. */
  age_s: number | null;
  /** readings that were lost. */
  dropped: number;
  /** readings that were recorded. */
  readings: number;
  /** "overdue" or "saturated"; "" for neither. */
  fault: "" | "overdue" | "saturated";
}

/** The advantage of the rig that was measured. */
export interface Predicted {
  /** ideal mechanical advantage. */
  ideal_ma: number | null;
  /** predicted mechanical advantage. */
  model_ma: number | null;
  /** its expanded uncertainty. */
  model_ma_U95: number | null;
}

/** A measured quantity. */
export interface Measured {
  /** its value, in the unit of the part. */
  value: number | null;
  /** its expanded uncertainty, in the same unit. */
  U95: number | null;
  /** number of observations. */
  n: number;
}

/** What was hauled so far. */
export interface Strokes {
  /** haul strokes, the one that goes on among them. */
  haul_strokes: number;
  /** resets. */
  resets: number;
  /** rope hauled, m. */
  haul_travel_m: number | null;
  /** load travel, m. */
  load_travel_m: number | null;
}

/** Parts that are sent where they changed; None takes a part away. */
export interface Parts {
  /** what is sent once. */
  head?: Head;
  /** why the session is not followed now. */
  fault?: string | null;
  /** the bodies that meet next. */
  left?: NextMeeting;
  /** how load travel was worked out. */
  moved?: Moved;
  /** all alarms in numbers. */
  alarms?: Alarms;
  /** the recorder's last answers to pages. */
  done?: Answered[];
  /** the last shock, slip, saturated reading or level that was passed shortly. */
  sudden?: Happened | null;
  /** the last alarm. */
  last_alarm?: Happened | null;
  /** what the strands' tensions follow from. */
  tensions_from?: string | null;
  /** the advantage of the rig that was measured. */
  predicted?: Predicted;
  /** measured mechanical advantage. */
  actual_ma?: Measured | null;
  /** measured efficiency, a share. */
  efficiency?: Measured | null;
  /** load force, N. */
  load_force_N?: Measured | null;
  /** load estimator: known, cell, haul-and-lower or model. */
  load_force_method?: string | null;
  /** why no advantage is measured. */
  why_not?: string | null;
  /** whether measurement and prediction agree. */
  verdict?: string | null;
  /** what was hauled so far. */
  strokes?: Strokes;
  /** open ones first, the worst and the latest first. */
  [key: `alarm:${string}`]: Alarm | null;
  /** the last events, the latest first. */
  [key: `event:${string}`]: Happened | null;
  /** what the graph marks. */
  [key: `span:${string}`]: Span | null;
  /** in the order of the head. */
  [key: `channel:${string}`]: ChannelNow | null;
  /** tensions of 40 strands in rope order, N; null for a strand that may have some or none. */
  [key: `strand:${string}`]: (number | null)[];
  /** rated parts, the nearest to its limit first. */
  [key: `use:${string}`]: NearPart | null;
  /** a warning of the review. */
  [key: `warning:${string}`]: string | null;
  /** a row of the table of chapters, as texts, names of the columns first; none while the session has one. */
  [key: `chapter:${string}`]: string[] | null;
  /** a row of the table of highest forces likewise, the most used first. */
  [key: `peak:${string}`]: string[] | null;
}

/** Bins of one channel, those that are new and the one that grew. */
export interface Bins {
  /** a bin is 2 ** level times as wide as the narrowest. */
  level: number;
  /** for each bin its index, lowest and highest value and, of a force, mean value, one after the other; (4 * bins,) in N or (3 * bins,) in m. */
  flat: number[];
}

/** The answer to a page that asks what is new. */
export interface SinceAnswer {
  /** names the run of the server. */
  run: string;
  /** bins of the force that is drawn. */
  force: Bins | null;
  /** bins of the travel that is drawn. */
  travel: Bins | null;
  /** the session at this moment; null before anything was read. */
  now: Now | null;
  /** what changed since the version that the page has. */
  parts: Parts;
  /** version of the parts that the page has now. */
  version: number;
  /** bins of level 0 up to here are sent. */
  seq: number;
  /** 1 where there are more bins: the page asks again at once. */
  more?: number;
}

/** A rig file beside the session. */
export interface RigChoice {
  /** its name. */
  file: string;
  /** of the rig; "" where it has none. */
  title: string;
}

/** The answer to a page that asks for the rigs that may be on the ground now. */
export interface RigsAnswer {
  /** in order of their names. */
  rigs: RigChoice[];
}
