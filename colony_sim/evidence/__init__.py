"""Every published number the project knows, and the model living the experiments behind them."""
