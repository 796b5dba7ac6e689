// How the page is built. Nothing is inlined into the document, so that it runs under a policy without inline
// script or style; in development requests for data go on to a daemon.
import { readFileSync } from 'node:fs';
import { defineConfig, type Plugin } from 'vite';

/** What is shipped inside the page, each under its own licence. */
const SHIPPED = ['preact', '@preact/signals', 'uplot', '@fontsource/ibm-plex-sans-condensed'];

/** Puts the licences of what is shipped beside the page, as they ask for. */
const notices: Plugin = {
  name: 'notices',
  generateBundle() {
    const texts = SHIPPED.map((name) => `${name}\n\n${readFileSync(`node_modules/${name}/LICENSE`, 'utf8').trim()}\n`);
    this.emitFile({ type: 'asset', fileName: 'notices.txt', source: texts.join('\n----\n\n') });
  },
};

const daemon = process.env['BOLTSCRIBE'] ?? 'http://127.0.0.1:7483';

export default defineConfig({
  plugins: [notices],
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  build: { assetsInlineLimit: 0, modulePreload: { polyfill: false }, target: 'es2022', sourcemap: false },
  server: {
    host: '127.0.0.1',
    proxy: {
      '/api': {
        target: daemon,
        changeOrigin: true,
        ws: true,
        // The daemon lets in what comes from its own address only.
        configure: (proxy) => {
          proxy.on('proxyReq', (request) => void request.setHeader('origin', daemon));
          proxy.on('proxyReqWs', (request) => void request.setHeader('origin', daemon));
        },
      },
    },
  },
});
