// Colours of plots: the palette of Okabe and Ito, "Color Universal Design" (2008), made to be told apart with any colour
// vision. On white blue and vermillion stand out by 3:1 and more; on black sky blue and orange take their places.
// Meaning never hangs on a colour: words, shapes and dashes carry it too. The style sheet has the same values.

export const OKABE_ITO = {
  black: '#000000',
  orange: '#E69F00',
  skyBlue: '#56B4E9',
  bluishGreen: '#009E73',
  yellow: '#F0E442',
  blue: '#0072B2',
  vermillion: '#D55E00',
  reddishPurple: '#CC79A7',
} as const;

export interface PlotColours {
  ink: string;
  grid: string;
  trace: string;
  band: string;
  limit: string;
  mark: string;
}

export const plotColours = (dark: boolean): PlotColours =>
  dark
    ? { ink: '#f2f0ea', grid: '#454545', trace: OKABE_ITO.skyBlue, band: '#56B4E955', limit: '#ff8a3d', mark: OKABE_ITO.yellow }
    : { ink: '#161616', grid: '#cfccc4', trace: OKABE_ITO.blue, band: '#0072B244', limit: '#b34700', mark: '#161616' };
