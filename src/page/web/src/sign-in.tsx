// The way in where the daemon asks for a token: one field. A token is long, so it is pasted or typed once a device.
import { useSignal } from '@preact/signals';
import { asProblem, signedOut, type Problem } from './lib/api.ts';
import { startFeed } from './lib/live.ts';
import { comeIn } from './lib/session.ts';
import { refreshShelf } from './lib/shelf.ts';
import { Text } from './parts/fields.tsx';
import { Caution, Refused } from './parts/words.tsx';

export function SignIn() {
  const token = useSignal('');
  const problem = useSignal<Problem | null>(null);
  const busy = useSignal(false);
  const enter = async (event: Event): Promise<void> => {
    event.preventDefault();
    busy.value = true;
    try {
      await comeIn(token.value);
      signedOut.value = false;
      startFeed();
      void refreshShelf();
    } catch (error) {
      problem.value = asProblem(error);
    } finally {
      busy.value = false;
    }
  };
  return (
    <form class="sheet" onSubmit={(event) => void enter(event)} noValidate>
      <h1>This device needs a token</h1>
      <p>Whoever looks after the daemon makes one, with a name for this device: boltscribe access add NAME --role operate</p>
      <Text label="Token" value={token.value} change={(value) => (token.value = value)} says={['token']} problem={problem.value} required hint="64 digits and letters. This browser keeps it for a year; nothing on this page can read it." />
      <button type="submit" class="primary" disabled={busy.value || token.value.trim() === ''}>Come in</button>
      <Refused problem={problem.value} />
      <Caution />
    </form>
  );
}
