import { render } from 'preact'
import { App } from './app'
import { follow } from './route'
import { store, wear } from './state'

wear()
follow()
store.start()
render(<App />, document.getElementById('app')!)
