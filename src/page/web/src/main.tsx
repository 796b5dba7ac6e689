// Where the page starts: fonts and styles, what runs by itself, the frame around the views.
import './style/type.css';
import 'uplot/dist/uPlot.min.css';
import './style/base.css';
import './style/fields.css';
import './style/now.css';
import './style/views.css';
import './style/trial.css';
import './style/results.css';
import { render } from 'preact';
import { Frame } from './frame.tsx';
import { start } from './lib/live.ts';
import { watchPedal } from './lib/pedal.ts';
import { applyTheme } from './lib/prefs.ts';
import { watchRoute } from './lib/route.ts';
import { askSession } from './lib/session.ts';
import { refreshShelf } from './lib/shelf.ts';
import { watchTrials } from './lib/trials.ts';

applyTheme();
watchRoute();
watchPedal();
start();
watchTrials();
void askSession();
void refreshShelf();

const place = document.getElementById('app');
if (place) render(<Frame />, place);
