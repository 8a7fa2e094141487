/* What the scripts find in a browser beside the DOM: the plotting library, and a hook for browser tests. */

/** An axis of a plot, as far as a page sets it. */
interface PlotAxis {
  title: { text: string };
  range: number[];
  autorange: boolean;
  tickformat: string;
  nticks: number;
  gridcolor: string;
  linecolor: string;
  tickcolor: string;
  zerolinecolor: string;
}

/** A line or an area that is drawn over or below the traces. */
interface PlotShape {
  type?: string;
  name?: string;
  xref?: string;
  yref?: string;
  x0?: number;
  x1?: number;
  y0?: number;
  y1?: number;
  layer?: string;
  fillcolor?: string;
  line?: { width?: number; color?: string; dash?: string };
}

/** A text in a plot. */
interface PlotNote {
  name?: string;
  font?: { color?: string; size?: number };
}

/** The frame of a plot. */
interface PlotLayout {
  font?: { color: string; size: number; family: string };
  margin?: { l: number; r: number; t: number; b: number };
  xaxis: PlotAxis;
  yaxis: PlotAxis;
  yaxis2: PlotAxis;
  yaxis3?: PlotAxis;
  shapes?: PlotShape[];
  annotations?: PlotNote[];
  datarevision?: number;
  dragmode?: string | false;
}

/** One curve; null in y leaves it open. */
interface PlotTrace {
  x: number[];
  y: (number | null)[];
  meta?: string;
  line?: { color?: string; dash?: string };
  marker?: { color?: string };
  error_y?: { color?: string };
  hoverinfo?: string;
}

/** A plot as the server describes it. */
interface PlotFigure {
  data: PlotTrace[];
  layout: PlotLayout;
}

/** Axes of a drawn plot: from values to pixels, and back. */
interface DrawnLayout {
  height: number;
  margin: { l: number; r: number; t: number; b: number };
  xaxis: { l2p(value: number): number; p2l(pixel: number): number };
}

/** The element that the library draws a plot in. */
interface PlotElement extends HTMLElement {
  layout: PlotLayout;
  data: PlotTrace[];
  _fullLayout?: DrawnLayout;
  on(event: string, then: (change: Record<string, unknown>) => void): void;
}

interface Plotting {
  react(place: HTMLElement, data: PlotTrace[], layout: PlotLayout, config: object): Promise<unknown>;
}

interface Window {
  Plotly?: Plotting;
  /** What Dash gives to scripts: sets values of a component of the page. */
  dash_clientside?: { set_props?(name: string, values: object): void };
  webkitAudioContext?: typeof AudioContext;
  /** What browser tests read; no script of a page does. */
  haulTest?: object;
}
