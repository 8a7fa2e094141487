/* Written by `python -m dashboard.live.conversion_wire` from dashboard/live/conversion_wire.py: change that. */

/** A rig that the rig in use may be made into. */
export interface ConversionChoice {
  /** by which it is chosen. */
  name: string;
  /** of the rig. */
  title: string;
}

/** A move of a conversion. */
export interface ShownMove {
  /** from 1. */
  number: number;
  /** what to do. */
  text: string;
  /** what holds the load after it, in words. */
  held_by: string;
  /** drawing of the rig after it. */
  svg: string;
}

/** The answer of `/conversion`. */
export interface ConversionAnswer {
  /** rigs that may be chosen; none where they were not asked for. */
  choices: ConversionChoice[];
  /** none is planned, or it is worked out, refused, planned, or made. */
  state: "none" | "working" | "refused" | "ready" | "done";
  /** the rig that was chosen; "" for none. */
  name: string;
  /** its title. */
  title: string;
  /** why it is refused; "" where it is not. */
  why: string;
  /** advantage before and after. */
  ratio: string;
  /** label and text of what changes. */
  facts: string[][];
  /** what to know before the first move. */
  warnings: string[];
  /** in order. */
  moves: ShownMove[];
  /** how many of them are marked in the session. */
  marked: number;
  /** id of the request that marked the last one; "" for none. */
  undo: string;
}
