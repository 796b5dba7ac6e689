// The frame around every view: name, rigs, connection, options, the buttons of the views. An over-limit warning shows on
// every view, not only where the tension is.
import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { signedOut } from './lib/api.ts';
import { connection, missed } from './lib/feed.ts';
import { asked, overLimit, rig, rigs, showRig } from './lib/live.ts';
import { pedalNext } from './lib/pedal.ts';
import { pedal, system, theme } from './lib/prefs.ts';
import { link, route } from './lib/route.ts';
import { address, goOut, session } from './lib/session.ts';
import { Tiles, Who } from './parts/fields.tsx';
import { Mark } from './parts/shapes.tsx';
import { SignIn } from './sign-in.tsx';
import { Guide } from './views/guide.tsx';
import { VIEWS } from './views/registry.ts';

const MAY = { view: 'look', operate: 'test', correct: 'test and change what is kept' } as const;

const Options = () => (
  <section class="options" aria-label="Options of this device">
    <Tiles label="Units" value={system.value} change={(value) => (system.value = value)} options={[{ value: 'SI', label: 'kN, N·m' }, { value: 'US', label: 'lbf, lbf·ft' }]} />
    <Tiles label="Light" value={theme.value} change={(value) => (theme.value = value)} options={[{ value: 'auto', label: 'as the device' }, { value: 'light', label: 'light' }, { value: 'dark', label: 'dark' }]} />
    <Tiles label="Foot pedal (F13 or PageDown)" value={pedal.value} change={(value) => (pedal.value = value)} options={[{ value: 'off', label: 'off' }, { value: 'on', label: 'on' }]} hint={pedal.value === 'on' ? `At the views Now and Trial it ${pedalNext()}.` : undefined} />
    <Who />
    <p><a href="/manual/" target="_blank">Manual</a>: every chapter, without a network</p>
    {missed.value > 0 && <p>This device was too slow for the feed {missed.value} times and started anew.</p>}
    {address.value !== null && (
      <figure class="qr">
        <img src="/api/v1/page/qr" alt={`QR code of ${address.value}`} width="220" height="220" />
        <figcaption>For another device: {address.value}</figcaption>
      </figure>
    )}
    {session.value?.tokens && (
      <p>
        Here as {session.value.name}, who may {MAY[session.value.role]}.{' '}
        <button type="button" onClick={() => void goOut().then(() => (signedOut.value = true))}>Forget the token here</button>
      </p>
    )}
  </section>
);

const Rigs = () =>
  rigs.value.length < (rig.value ? 2 : 1) ? null : (
    <nav class="rigs" aria-label="Rigs">
      {rigs.value.map((one) => (
        <button type="button" key={one.rig} aria-pressed={one.rig === rig.value?.rig} onClick={() => showRig(one.rig)}>
          {one.rig}
        </button>
      ))}
    </nav>
  );

export function Frame() {
  const open = useSignal(false);
  const here = VIEWS.find((view) => view.id === route.value[0]) ?? VIEWS[0];
  const View = here?.component;
  const nobody = asked.value && rigs.value.length === 0;
  // The guide to a first rig stays once the rig is there, for its zero and its sign, until somebody leaves it.
  const guided = useSignal(false);
  const leave = (): void => void (guided.value = nobody);
  const address = route.value.join('/');
  useEffect(leave, [address]);
  useEffect(() => void (nobody && (guided.value = true)), [nobody]);
  const guide = (nobody || guided.value) && here?.id !== 'runs' && here?.id !== 'setups';
  return (
    <>
      <header class="top">
        <a class="skip" href="#view" onClick={(event) => { event.preventDefault(); document.getElementById('view')?.focus(); }}>Skip to the view</a>
        <p class="name"><strong>boltscribe</strong> {rigs.value.length < 2 && <span>{rig.value?.rig ?? ''}</span>}{rig.value?.simulated && <span class="tag">simulated</span>}</p>
        <Rigs />
        {connection.value === 'lost' && !signedOut.value && <p class="lost" role="status"><Mark shape="broken" /> Disconnected</p>}
        {overLimit.value !== null && here?.id !== 'now' && <div class="alarm" role="alert"><a href={link('now')}><Mark shape="octagon" /> OVER LIMIT <span>Stop and inspect the test bolt</span></a></div>}
        <button type="button" class="options-button" aria-expanded={open.value} onClick={() => (open.value = !open.value)}>Options</button>
      </header>
      {open.value && <Options />}
      <nav class="views" aria-label="Views">
        {VIEWS.filter((view) => view.within === undefined).map((view) => (
          <a key={view.id} href={link(view.id)} onClick={leave} aria-current={view.id === (here?.within ?? here?.id) ? 'page' : undefined}>{view.title}</a>
        ))}
      </nav>
      <main id="view" tabIndex={-1}>{signedOut.value ? <SignIn /> : guide ? <Guide first leave={leave} /> : View && <View />}</main>
    </>
  );
}
