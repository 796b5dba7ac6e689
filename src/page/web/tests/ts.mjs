// Lets node's own test runner take TypeScript: Vite's compiler strips the types of each file as it is loaded.
import { register } from 'node:module';

register('./ts-hook.mjs', import.meta.url);
