/* Written by `python -m dashboard.plan.wire` from dashboard/plan/wire.py: change that. */

/** One rig, but for its drawing; where its file is at fault, the texts are "". */
export interface PlannedRigTables {
  /** version of the file, counted by the server. */
  v: number;
  /** the fault of the file in one line; "" for none. */
  fault: string;
  /** efficiency at which the what-if slider stands while the file's own are used. */
  e: number;
  /** title of the rig. */
  title: string;
  /** what the file says of itself, as HTML. */
  said: string;
  /** the figures at the top, as HTML. */
  top: string;
  /** all tables, as HTML. */
  tables: string;
  /** number of steps of the job. */
  frames: number;
}

/** The answer of `/plan`. */
export interface PlanAnswer {
  /** one rig, or the two that are compared. */
  rigs: PlannedRigTables[];
  /** the comparison of two rigs as HTML; "" for one. */
  compare: string;
}

/** The answer of `/drawing`: one step of the job. */
export interface FrameAnswer {
  /** the rig as it stands then, as SVG. */
  svg: string;
  /** what happens. */
  text: string;
  /** kind of the step. */
  kind: string;
  /** where everything stands, sentence by sentence. */
  more: string[];
  /** number of steps of the job. */
  steps: number;
}
