/* Written by `python -m dashboard.review.wire` from dashboard/review/wire.py: change that. */

/** Names of the columns of each table. */
export interface Heads {
  /** of the results. */
  results: string[];
  /** of the strokes. */
  strokes: string[];
  /** of the highest forces. */
  peaks: string[];
  /** of what happened. */
  events: string[];
}

/** A stroke. */
export interface StrokeCells {
  /** its number, from 1. */
  k: number;
  /** its beginning, s. */
  from_s: number;
  /** its end, s. */
  to_s: number;
  /** its row of the table. */
  cells: string[];
}

/** The highest force on a strand or part. */
export interface PeakCells {
  /** share of what it is allowed; null where it is not rated. */
  use: number | null;
  /** whether that is more than it is allowed. */
  over: boolean;
  /** its row of the table. */
  cells: string[];
}

/** Something that happened. */
export interface EventCells {
  /** its time, s. */
  time_s: number;
  /** its row of the table. */
  cells: string[];
}

/** The uncertainty budget of one quantity. */
export interface BudgetRows {
  /** of the quantity. */
  name: string;
  /** its value with its uncertainty. */
  said: string;
  /** the table, names of the columns first. */
  rows: string[][];
  /** share of each row in the whole variance. */
  shares: number[];
  /** how the uncertainty is expanded. */
  note: string;
}

/** The efficiency stroke by stroke. */
export interface EfficiencyPlot {
  /** traces of the plot. */
  data: PlotFigure['data'];
  /** frame of the plot. */
  layout: PlotFigure['layout'];
  /** why there is nothing to be drawn; "" where there is. */
  nothing: string;
}

/** All texts of the page. */
export interface ReviewTexts {
  /** title of the rig. */
  title: string;
  /** name of the session's folder. */
  folder: string;
  /** when the session began. */
  started: string;
  /** state of the session. */
  state: string;
  /** whether the devices are simulated. */
  demo: boolean;
  /** up to which time the session was read. */
  as_of: string;
  /** the what-if in words; "" for the record itself. */
  what_if: string;
  /** system of units of all texts. */
  units: string;
  /** number of readings of each channel. */
  readings: string;
  /** the result in sentences. */
  sentences: string[];
  /** whether the last sentence is grave. */
  grave: boolean;
  /** names of the columns of each table. */
  heads: Heads;
  /** the chapters, names of the columns first; empty where the session has one. */
  chapters: string[][];
  /** rows of the results. */
  results: string[][];
  /** why no advantage is measured. */
  why_not: string;
  /** name and value of each figure by which a what-if is compared. */
  summary: string[][];
  /** the warnings. */
  warnings: string[];
  /** the strokes. */
  strokes: StrokeCells[];
  /** how many more there are; "" for none. */
  strokes_more: string;
  /** the highest forces. */
  peaks: PeakCells[];
  /** how many parts are not rated; "" for none. */
  unrated: string;
  /** what happened. */
  events: EventCells[];
  /** how many more there are; "" for none. */
  events_more: string;
  /** the budget of each measured quantity. */
  budgets: BudgetRows[];
}

/** The answer of `/review-data`. */
export interface ReviewAnswer extends ReviewTexts {
  /** beginning of the session, s. */
  from_s: number;
  /** its end, s. */
  to_s: number;
  /** the efficiency stroke by stroke. */
  efficiency: EfficiencyPlot;
  /** names of the rig files that a what-if may take. */
  rigs: string[];
  /** lowest pulley efficiency of a what-if. */
  least_e: number;
  /** highest pulley efficiency of a what-if. */
  most_e: number;
}

/** What a trace of the plot over time is. */
export interface TraceText {
  /** of the channel. */
  name: string;
  /** of its values. */
  unit: string;
  /** what it is painted as. */
  meta: string;
  /** width of a column, s; 0 where every reading is drawn. */
  width_s: number;
  /** number of readings or columns. */
  n: number;
}

/** The answer of `/window`: force and travel over a stretch of time. */
export interface WindowAnswer {
  /** its beginning, s. */
  from_s: number;
  /** its end, s. */
  to_s: number;
  /** the plot. */
  figure: PlotFigure;
  /** what each trace of the plot is. */
  traces: TraceText[];
  /** how finely readings are drawn. */
  note: string;
}

/** The answer of `/loop`: force against travel. */
export interface LoopAnswer {
  /** the plot. */
  figure: PlotFigure;
  /** the work that its area is. */
  said: string;
}
